"""Draw the true lives of component positions and keep a log of every one of them."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import polars as pl

from demo_warehouse.catalogue import Family
from demo_warehouse.scenario import Lives
from demo_warehouse.vehicles import Unit

METRES_A_KM = 1000.0


@dataclass
class LifeLog:
    """Collect one row per true life: unit, position, duty, distance at its start, and the life in metres."""

    units: list[str] = field(default_factory=list)
    families: list[str] = field(default_factory=list)
    positions: list[str] = field(default_factory=list)
    components: list[str] = field(default_factory=list)
    duties: list[str] = field(default_factory=list)
    origins: list[str] = field(default_factory=list)
    starts: list[float] = field(default_factory=list)
    lives: list[float] = field(default_factory=list)
    factors: list[float] = field(default_factory=list)

    def add(
        self, unit: Unit, index: np.ndarray, duty: str, origin: str, life: np.ndarray, factor: np.ndarray
    ) -> np.ndarray:
        """Append one row per position in `index`; return the rows' numbers."""
        first = len(self.lives)
        places = [unit.family.positions[i] for i in index]
        count = len(places)
        self.units += [unit.tag] * count
        self.families += [unit.family.name] * count
        self.positions += [p.name for p in places]
        self.components += [p.component for p in places]
        self.duties += [duty] * count
        self.origins += [origin] * count
        self.starts += unit.start[index].tolist()
        self.lives += life.tolist()
        self.factors += factor.tolist()
        return np.arange(first, first + count)

    def frame(self) -> pl.DataFrame:
        """Return the log: unit, family, position, component, duty, origin, start_m, life_m, maker_factor."""
        return pl.DataFrame(
            {
                "unit": self.units,
                "family": self.families,
                "position": self.positions,
                "component": self.components,
                "duty": self.duties,
                "origin": self.origins,
                "start_m": pl.Series(self.starts, dtype=pl.Float64).round().cast(pl.Int64),
                "life_m": pl.Series(self.lives, dtype=pl.Float64),
                "maker_factor": pl.Series(self.factors, dtype=pl.Float64),
            }
        )


class TrueLives:
    """Draw lives for the positions of a unit and write them to the log."""

    def __init__(self, lives: Lives, families: dict[str, Family], log: LifeLog) -> None:
        """Prepare scale (metres) and shape of every position of every family."""
        self.lives = lives
        self.log = log
        self._scale: dict[str, np.ndarray] = {}
        self._shape: dict[str, np.ndarray] = {}
        for family in families.values():
            planted = [lives.component[p.component] for p in family.positions]
            factors = np.array([p.life_factor for p in family.positions]) * lives.family.get(family.name, 1.0)
            self._scale[family.name] = np.array([life.scale_km for life in planted]) * METRES_A_KM * factors
            self._shape[family.name] = np.array([life.shape for life in planted])

    def scale(self, family: str, duty: str) -> np.ndarray:
        """Return the Weibull scale in metres of each position of a family in a duty."""
        return self._scale[family] * self.lives.duty.get(duty, 1.0)

    def begin(
        self,
        unit: Unit,
        index: np.ndarray,
        distance: float,
        duty: str,
        origin: str,
        rng: np.random.Generator,
        factor: np.ndarray | None = None,
    ) -> None:
        """Start new lives at `distance` metres for the positions in `index`."""
        name = unit.family.name
        if unit.start.size == 0:
            size = len(unit.family.positions)
            unit.start, unit.worn_at, unit.complains_at = np.zeros(size), np.zeros(size), np.zeros(size)
            unit.standard, unit.log_rows = np.zeros(size), np.zeros(size, dtype=int)
        factor = np.ones(len(index)) if factor is None else factor
        unit.standard[index] = rng.weibull(self._shape[name][index]) * factor
        unit.start[index] = distance
        scale = self.scale(name, duty)[index]
        life = unit.standard[index] * scale
        unit.log_rows[index] = self.log.add(unit, index, duty, origin, life, factor)
        self._place(unit, index, life, scale, rng)

    def fit_for_duty(self, unit: Unit, distance: float, duty: str, rng: np.random.Generator) -> None:
        """Give lives that start with this fitting the scale of the vehicle's duty."""
        index = np.flatnonzero(unit.start >= distance)
        if index.size == 0:
            return
        scale = self.scale(unit.family.name, duty)[index]
        life = unit.standard[index] * scale
        for row, metres in zip(unit.log_rows[index], life, strict=True):
            self.log.lives[row] = float(metres)
            self.log.duties[row] = duty
        self._place(unit, index, life, scale, rng)

    def _place(
        self, unit: Unit, index: np.ndarray, life: np.ndarray, scale: np.ndarray, rng: np.random.Generator
    ) -> None:
        unit.worn_at[index] = unit.start[index] + life
        silent = rng.random(len(index)) < self.lives.silent_share
        lag = rng.exponential(1.0, len(index)) * self.lives.silent_lag * scale
        unit.complains_at[index] = unit.worn_at[index] + np.where(silent, lag, 0.0)
