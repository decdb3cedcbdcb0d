"""Hold what one visit's setting work needs: the unit's true dimensions, the readings written, the shims used."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from demo_warehouse.catalogue import Location
from demo_warehouse.days import date_of
from demo_warehouse.gauges import LENGTH_STEP, TORQUE_STEP, Gauges
from demo_warehouse.rounding import on_scale
from demo_warehouse.rows import Rows
from demo_warehouse.scenario import Scenario
from demo_warehouse.vehicles import Unit

ShimParts = dict[tuple[str, str, int], str]
MOST_TRIALS = 8
LAST_YEAR_OF_POUND_INCHES = 2018


@dataclass
class GearSetItem:
    """Hold one gear set: its number, teeth, marking (micrometres) and where it truly wants to run."""

    number: str
    pinion_teeth: int
    marked: int
    marked_backlash: int | None
    true_target: float
    new: bool


@dataclass
class SettingState:
    """Hold one unit's true dimensions and packs, by location; micrometres."""

    base: dict[str, float] = field(default_factory=dict)
    pack: dict[str, tuple[int, ...]] = field(default_factory=dict)
    maker: dict[str, str] = field(default_factory=dict)
    gear_set: GearSetItem | None = None
    backlash_base: float = 0.0
    ring_shift: float = 0.0  # of threaded adjusters
    side_space: float = 0.0
    run_out: float = 30.0
    depth_error: float = 0.0


@dataclass
class Bench:
    """Hold one visit on the bench: its job, unit, days, technician and what was replaced."""

    scenario: Scenario
    gauges: Gauges
    rows: Rows
    rng: np.random.Generator
    job: str
    unit: Unit
    state: SettingState
    found_day: int
    built_day: int
    technician: str
    depth_gauge: str
    new_bearings: dict[str, str]  # position -> maker of the new bearing
    wear: dict[str, float]  # position -> age over life of the bearing found
    case_replaced: bool
    new_set: bool
    reads_found: bool
    second_technician: str
    used_shims: list[tuple[str, int]] = field(default_factory=list)  # location, thickness
    trials: int = 0
    depth_trials: int = 0

    @property
    def length_step(self) -> float:
        """Return the dial's division for this family in micrometres."""
        return LENGTH_STEP[self.unit.family.length_unit]

    def torque_unit(self) -> str:
        """Return the unit in which torques are written at the time."""
        return "lbf.in" if date_of(self.built_day).year <= LAST_YEAR_OF_POUND_INCHES else "N.m"

    def worn(self, location: Location) -> float:
        """Return the age over life of the bearing found at a location."""
        return min(self.wear.get(location.bearing, 0.3), 1.4)

    def condition(self, location: Location, stage: str) -> str:
        """Return whether the bearing at a location is new or used at a stage."""
        return "new" if stage != "as_found" and location.bearing in self.new_bearings else "used"

    def read(
        self,
        quantity: str,
        location: str | None,
        stage: str,
        value: float,
        place: Location | None = None,
        **more: object,
    ) -> int:
        """Write one reading to the nearest division and return it in whole steps."""
        torque = quantity.endswith("torque")
        unit = self.torque_unit() if torque else self.unit.family.length_unit
        step = TORQUE_STEP[unit] if torque else self.length_step
        shown = on_scale(value, step)
        row: dict[str, object] = {
            "job": self.job,
            "quantity": quantity,
            "location": location,
            "stage": stage,
            "value": shown,
            "unit_written": unit,
            "technician": self.technician,
            "read_on": self.found_day if stage == "as_found" else self.built_day,
            "cold": True,
        }
        if place is not None:
            row["bearing_maker"] = self.state.maker.get(place.name)
            row["bearing_condition"] = self.condition(place, stage)
            row["bearing_state"] = "final"
        if torque:
            row |= {"torque_kind": "breakaway" if quantity == "breakaway_torque" else "running", "seals": "off"}
            row["oiled"] = True
        row |= more
        self.rows.add("measurement", **row)
        return shown

    def write_pack(
        self, location: Location, stage: str, pack: tuple[int, ...], parts: ShimParts, trial: int | None
    ) -> None:
        """Write the shims of one location at one stage, one row per thickness."""
        for size in sorted(set(pack)):
            self.rows.add(
                "shim",
                job=self.job,
                location=location.name,
                stage=stage,
                trial=trial,
                thickness=size,
                pieces=pack.count(size),
                thickness_basis="nominal",
                part=parts.get((self.unit.family.name, location.name, size)),
            )

    def take_new_pieces(self, location: Location, before: tuple[int, ...], after: tuple[int, ...]) -> None:
        """Note the shims that the final pack needs beyond those that came out."""
        left = list(before)
        for size in after:
            if size in left:
                left.remove(size)
            else:
                self.used_shims.append((location.name, size))
