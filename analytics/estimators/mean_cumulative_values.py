"""The mean cumulative number of events at stated ages, for many units at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from analytics.estimators.life_models import Values


@dataclass(frozen=True)
class MeanCumulativeValues:
    """Hold the function at stated ages, each column one value an age.

    Columns: age; at_risk (units under observation at that age); mean (events a unit by that age); standard_error,
    robust.
    """

    age: Values
    at_risk: Values
    mean: Values
    standard_error: Values

    def limits(self, level: float) -> tuple[Values, Values]:
        """Return lower and upper limits on the log scale, both 0 where there was no event (Nelson 2003)."""
        z = float(ndtri(0.5 + level / 2))
        safe = np.where(self.mean > 0, self.mean, 1.0)
        width = np.exp(z * self.standard_error / safe)
        return self.mean / width, self.mean * width


def mean_cumulative_values(
    end: ArrayLike, event_unit: ArrayLike, event_age: ArrayLike, at: ArrayLike
) -> MeanCumulativeValues:
    """Estimate the mean cumulative function at the ages `at`, every unit followed from age 0 to its end.

    Shapes: end, one value a unit; event_unit (index into the units) and event_age, one value an event; at (n,). The
    same numbers as mean_cumulative_function, whose influence of each unit is here summed age by age rather than unit
    by unit. Raises ValueError for an event outside its unit's observation. Source: Lawless & Nadeau 1995.
    """
    last, when = np.array(end, dtype=float, ndmin=1), np.array(event_age, dtype=float, ndmin=1)
    unit = np.array(event_unit, dtype=np.intp, ndmin=1)
    wanted = np.array(at, dtype=float, ndmin=1)
    if len(when) and ((when <= 0) | (when > last[unit])).any():
        raise ValueError("an event lies outside its unit's observation")
    order = np.lexsort((unit, when))
    unit, when = unit[order], when[order]
    sorted_end = np.sort(last)
    age, first, events = np.unique(when, return_index=True, return_counts=True)
    at_risk = (len(last) - np.searchsorted(sorted_end, age, side="left")).astype(float)
    mean = np.concatenate([[0.0], np.cumsum(events / at_risk)])
    expected = np.concatenate([[0.0], np.cumsum(events / at_risk**2)])
    share = np.repeat(1 / at_risk, events)
    bounds = np.append(first, len(when))
    steps = np.searchsorted(age, wanted, side="right")
    by_end = np.searchsorted(age, last, side="right")
    error = np.zeros(len(wanted))
    for i, step in enumerate(steps):
        stop = bounds[step]
        own = np.bincount(unit[:stop], weights=share[:stop], minlength=len(last))
        error[i] = np.sqrt(((own - expected[np.minimum(by_end, step)]) ** 2).sum())
    still = (len(last) - np.searchsorted(sorted_end, wanted, side="left")).astype(float)
    return MeanCumulativeValues(wanted, still, mean[steps], error)
