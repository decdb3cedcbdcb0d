"""Hold vehicles and units while the workshop's years are played through."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from demo_warehouse.catalogue import Family
from demo_warehouse.days import DAYS_A_YEAR
from demo_warehouse.scenario import Fleet

NEVER = 10**9


@dataclass
class Unit:
    """Hold one unit's state: what it has run, and the true life of what sits in it; distances in metres."""

    tag: str
    family: Family
    number: int
    in_service: int
    serial: str | None
    start: np.ndarray = field(default_factory=lambda: np.zeros(0))  # unit distance at which each life began
    worn_at: np.ndarray = field(default_factory=lambda: np.zeros(0))  # unit distance at which it counts as failed
    complains_at: np.ndarray = field(default_factory=lambda: np.zeros(0))
    standard: np.ndarray = field(default_factory=lambda: np.zeros(0))  # the life over its scale, before duty
    log_rows: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=int))
    distance_at_fitting: float = 0.0
    odometer_at_fitting: float = 0.0
    fitted_from: int | None = None
    on_record: bool = False
    register_entry: int | None = None
    in_service_known: bool = True
    opened_elsewhere: bool = False
    distance_known: bool = True
    visits: int = 0
    setting: object = None  # SettingState once it has been on the bench
    last_job: object = None  # the last delivered Visit
    trouble_day: int = NEVER
    trouble: object = None


@dataclass
class Vehicle:
    """Hold one vehicle: who runs it, how far a day, until when, and the unit in it."""

    reference: str
    number: int
    fleet: Fleet | None
    owner: str
    duty: str
    metres_a_day: float
    begins: int
    retires: int
    swing: float
    phase: float
    comes_to_us: bool
    followed: bool
    exchange: bool
    rng: np.random.Generator
    hours_per_km: float = 0.0
    joined: int = 0  # day from which it may come to us
    unit: Unit | None = None
    version: int = 0
    retired: bool = False

    def odometer(self, day: float) -> float:
        """Return the metres on the clock on a day; the year's driving swings a little round a straight line."""
        since = day - self.begins
        turn = 2 * math.pi / DAYS_A_YEAR
        return self.metres_a_day * (since + self.swing * (math.sin(turn * since + self.phase) - math.sin(self.phase)))

    def day_at(self, odometer: float) -> int:
        """Return the first day on which the clock shows at least `odometer` metres."""
        straight = odometer / self.metres_a_day
        if straight > 40_000:
            return NEVER
        turn = 2 * math.pi / DAYS_A_YEAR
        since = straight
        for _ in range(8):
            since = straight - self.swing * (math.sin(turn * since + self.phase) - math.sin(self.phase))
        return self.begins + math.ceil(since)

    def unit_distance(self, day: float) -> float:
        """Return the metres that the unit now fitted has run by a day."""
        unit = self.fitted_unit
        return unit.distance_at_fitting + self.odometer(day) - unit.odometer_at_fitting

    def day_at_unit_distance(self, distance: float) -> int:
        """Return the first day on which the fitted unit has run `distance` metres."""
        unit = self.fitted_unit
        return self.day_at(distance - unit.distance_at_fitting + unit.odometer_at_fitting)

    @property
    def fitted_unit(self) -> Unit:
        """Return the unit in the vehicle; raises ValueError where there is none."""
        if self.unit is None:
            raise ValueError(f"vehicle {self.reference} has no unit")
        return self.unit

    def hours(self, day: float) -> int | None:
        """Return the hour meter in minutes, or None where the vehicle has none."""
        return round(self.odometer(day) / 1000 * self.hours_per_km * 60) if self.hours_per_km else None
