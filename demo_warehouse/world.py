"""Hold what every event of the simulation shares: scenario, families, supply, rows, and the truth so far."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from demo_warehouse.catalogue import Family, read_families
from demo_warehouse.days import day_of
from demo_warehouse.gauges import Gauges
from demo_warehouse.lives import LifeLog, TrueLives
from demo_warehouse.parts import PartsBook, parts_book
from demo_warehouse.rows import Rows
from demo_warehouse.scenario import Scenario, Technician
from demo_warehouse.setting import SettingWork
from demo_warehouse.supply import Prices, Supply
from demo_warehouse.vehicles import Unit, Vehicle


@dataclass
class Realised:
    """Collect what really happened, for the truth file."""

    comebacks: list[dict[str, Any]] = field(default_factory=list)
    hidden_links: list[dict[str, Any]] = field(default_factory=list)
    bad_lot: list[dict[str, Any]] = field(default_factory=list)
    drift_jobs: list[dict[str, Any]] = field(default_factory=list)
    settings: list[dict[str, Any]] = field(default_factory=list)
    slider_jobs: list[str] = field(default_factory=list)
    below_cost: list[dict[str, Any]] = field(default_factory=list)
    elsewhere: list[dict[str, Any]] = field(default_factory=list)
    chances: list[dict[str, Any]] = field(default_factory=list)
    came_in: set[str] = field(default_factory=set)


class World:
    """Hold the shared state of one run."""

    def __init__(self, scenario: Scenario, seed: int) -> None:
        """Prepare an empty workshop; every random number stems from `seed`."""
        self.scenario = scenario
        self.seed = seed
        self.start = day_of(scenario.start)
        self.end = day_of(scenario.end)
        self.families: Mapping[str, Family] = read_families()
        self.rows = Rows()
        self.book: PartsBook = parts_book(self.families)
        self.prices = Prices(scenario)
        self.supply = Supply(scenario, self.book, self.prices, self.rng(1))
        self.gauges = Gauges(scenario, self.rng(2))
        self.log = LifeLog()
        self.lives = TrueLives(scenario.lives, dict(self.families), self.log)
        self.setting = SettingWork(scenario, self.book.for_shim, self.rows)
        self.realised = Realised()
        self.units: list[Unit] = []
        self.vehicles: list[Vehicle] = []
        self.shelf: dict[str, list[Any]] = {}
        self._counts: dict[tuple[str, int], int] = {}
        self._technician_days = [(t, day_of(t.from_)) for t in scenario.technicians]

    def rng(self, *key: int) -> np.random.Generator:
        """Return the generator that belongs to a key, independent of every other."""
        return np.random.Generator(np.random.PCG64([self.seed, *key]))

    def next_number(self, letter: str, year: int) -> str:
        """Return the next running number of a year, such as J17-0042."""
        key = (letter, year)
        self._counts[key] = self._counts.get(key, 0) + 1
        return f"{letter}{year % 100:02d}-{self._counts[key]:04d}"

    def technician(self, day: int, rng: np.random.Generator, other_than: str = "") -> Technician:
        """Return a technician who was there on a day, by share."""
        present = [t for t, first in self._technician_days if first <= day and t.code != other_than]
        at = rng.random() * sum(t.share for t in present)
        for technician in present:
            at -= technician.share
            if at < 0:
                return technician
        return present[-1]

    def part_of(self, unit: Unit, position: str) -> str:
        """Return the part number that sits at a position of a unit."""
        return self.book.for_position[unit.family.name, position]
