"""Read with gauges that scatter, differ by technician, and in one case drift."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from demo_warehouse.days import DAYS_A_MONTH, day_of
from demo_warehouse.rounding import on_scale
from demo_warehouse.rows import Rows
from demo_warehouse.scenario import Scenario


@dataclass(frozen=True)
class Master:
    """Describe one instrument: what it reads, its master's value, how often it is checked, how it scatters."""

    instrument: str
    quantity: str
    expected: int
    every_days: int
    scatter: float


INSTRUMENTS = (
    Master("DG-1", "pinion_depth", 60000, 7, 1.0),
    Master("DG-2", "pinion_depth", 60000, 7, 1.0),
    Master("DG-3", "pinion_depth", 60000, 14, 1.0),
    Master("BL-1", "backlash", 200, 30, 0.7),
    Master("BL-2", "backlash", 200, 30, 0.7),
    Master("EF-1", "end_float", 100, 30, 0.7),
    Master("TQ-1", "preload_torque", 2500, 30, 4.0),
    Master("TQ-2", "preload_torque", 2500, 60, 4.0),
    Master("MC-1", "pack_thickness", 1000, 60, 0.3),
)
LENGTH_STEP = {"mm": 10.0, "in": 12.7}  # a dial's division in micrometres: 0.01 mm, 0.0005 in
TORQUE_STEP = {"N.m": 50.0, "lbf.in": 112.9848290276167 / 2}


class Gauges:
    """Give the error of a reading by instrument, technician and day; micrometres or millinewton metres."""

    def __init__(self, scenario: Scenario, rng: np.random.Generator) -> None:
        """Draw each technician's own small bias."""
        self.scenario = scenario
        self.technician_bias = {t.code: rng.normal(0, scenario.gauges.technician_um) for t in scenario.technicians}
        self._drift_day = day_of(scenario.planted.gauge_drift.from_)

    def bias(self, instrument: str, day: int) -> float:
        """Return the instrument's true bias on a day in micrometres."""
        drift = self.scenario.planted.gauge_drift
        if instrument != drift.instrument or day < self._drift_day:
            return 0.0
        grown = drift.um_per_month * (day - self._drift_day) / DAYS_A_MONTH
        return float(np.clip(grown, -abs(drift.at_most_um), abs(drift.at_most_um)))

    def depth_reading(self, true: float, instrument: str, technician: str, day: int, rng: np.random.Generator) -> float:
        """Return a depth reading before rounding to the dial's division."""
        error = self.bias(instrument, day) + self.technician_bias[technician]
        return float(true + error + rng.normal(0, self.scenario.gauges.single_reading_um))

    def write_checks(self, rows: Rows, start: int, end: int, rng: np.random.Generator) -> None:
        """Write the readings on the master of every instrument."""
        codes = list(self.scenario.technicians)
        for master in INSTRUMENTS:
            for day in range(start + master.every_days, end + 1, master.every_days):
                if rng.random() < 0.08:
                    continue
                present = [t.code for t in codes if day_of(t.from_) <= day]
                scatter = self.scenario.gauges.master_reading_um * master.scatter
                read = master.expected + self.bias(master.instrument, day) + rng.normal(0, scatter)
                rows.add(
                    "gauge_check",
                    instrument=master.instrument,
                    read_on=day,
                    quantity=master.quantity,
                    expected=master.expected,
                    value=on_scale(read, 50.0 if master.quantity == "preload_torque" else 2.0),
                    unit_written="N.m" if master.quantity == "preload_torque" else "mm",
                    technician=present[int(rng.integers(0, len(present)))],
                )
