"""The mean cumulative cost of recurring events a job, where jobs are followed for different times."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from analytics.estimators.arrays import FloatArray, as_amounts, as_codes, as_numbers, ranked, same_length, tail


@dataclass(frozen=True)
class CumulativeCost:
    """Hold the mean cost by given times with limits, each (times), and how many jobs were under observation there.

    variance: of the mean; events: (times) events by then.
    """

    time: FloatArray
    mean: FloatArray
    variance: FloatArray
    at_risk: FloatArray
    events: FloatArray

    def limits(self, level: float = 0.95) -> tuple[FloatArray, FloatArray]:
        """Return limits on the log scale; 0 and 0 before the first event that costs anything."""
        known = self.mean > 0
        safe = np.where(known, self.mean, 1.0)
        width = np.exp(float(special.ndtri(1 - tail(level))) * np.sqrt(self.variance) / safe)
        return np.where(known, self.mean / width, 0.0), np.where(known, self.mean * width, 0.0)


def mean_cumulative_cost(
    end: npt.ArrayLike,
    unit: npt.ArrayLike,
    event_job: npt.ArrayLike,
    event_time: npt.ArrayLike,
    event_cost: npt.ArrayLike,
    times: npt.ArrayLike,
) -> CumulativeCost:
    """Estimate the mean cost of events a job by each of the given times.

    end: (jobs) time to which each is followed from its start at 0; unit: (jobs) codes of the units they are of;
    event_job: (events) place of the job; event_time: at or before that job's end; event_cost: any number. Raises
    ValueError otherwise.

    Method: at each event time its cost over the number of jobs under observation, summed (Nelson, Recurrent Events Data
    Analysis, 2003, chapter 3; Lawless & Nadeau, Technometrics 37 (1995) 158); variance: sum over units of squared
    influence.
    """
    last, when = as_amounts("end", end), as_amounts("event_time", event_time)
    code, owner, cost = as_codes("unit", unit), as_codes("event_job", event_job), as_numbers("event_cost", event_cost)
    same_length(end=last, unit=code)
    same_length(event_job=owner, event_time=when, event_cost=cost)
    if len(owner) and (owner.max() >= len(last) or np.any(when > last[owner])):
        raise ValueError("an event must lie within the observation of its job")
    grid = np.atleast_1d(as_amounts("times", times))
    order = np.lexsort((cost, code[owner], when))
    owner, when, cost = owner[order], when[order], cost[order]
    ends = np.sort(last)
    at_risk = len(last) - np.searchsorted(ends, when, side="left").astype(np.float64)
    rise = cost / np.maximum(at_risk, 1.0)
    # Influence of a job: its own events over those at risk, less what the mean rose, a job's share, while it was there.
    shared = np.cumsum(rise / np.maximum(at_risk, 1.0))
    units, place = ranked(code)
    mean, variance, events = np.zeros(len(grid)), np.zeros(len(grid)), np.zeros(len(grid))
    for row, time in enumerate(grid.tolist()):
        counted = int(np.searchsorted(when, time, side="right"))
        mean[row], events[row] = rise[:counted].sum(), counted
        met = np.searchsorted(when[:counted], np.minimum(last, time), side="right")
        lived = np.append(0.0, shared[:counted])[met]
        own = np.bincount(place[owner[:counted]], rise[:counted], len(units))
        moved = own - np.bincount(place, lived, len(units))
        variance[row] = float(np.sum(moved**2)) * len(units) / max(len(units) - 1, 1)
    there = len(last) - np.searchsorted(ends, grid, side="left").astype(np.float64)
    return CumulativeCost(grid, mean, variance, there, events)
