"""The mean cumulative number of events a unit has had by each age, with robust limits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from analytics.estimators.life_models import Values

Places = NDArray[np.intp]


@dataclass(frozen=True)
class MeanCumulativeFunction:
    """Hold the function at the distinct event ages, each column one value an age.

    Columns: age; at_risk (units under observation); events; mean (events a unit by that age); standard_error, robust.
    """

    age: Values
    at_risk: Values
    events: Values
    mean: Values
    standard_error: Values

    def limits(self, level: float) -> tuple[Values, Values]:
        """Return lower and upper limits of the mean on the log scale (Nelson 2003, Recurrent Events Data Analysis)."""
        z = float(ndtri(0.5 + level / 2))
        width = np.exp(z * self.standard_error / self.mean)
        return self.mean / width, self.mean * width

    def at(self, age: ArrayLike) -> Values:
        """Return the mean at each age."""
        place = np.searchsorted(self.age, np.asarray(age, dtype=float), side="right")
        return np.concatenate([[0.0], self.mean])[place]


def mean_cumulative_function(
    entry: ArrayLike, end: ArrayLike, event_unit: ArrayLike, event_age: ArrayLike
) -> MeanCumulativeFunction:
    """Estimate the mean cumulative function; every event counts, also several of one unit at one age.

    Shapes: entry and end, one value a unit, ages between which it is under observation (entry, end]; event_unit
    (index into the units) and event_age, one value an event. Variance: the robust sum over units of squared influence,
    which allows events of one unit to depend on one another. Raises ValueError for an event outside its unit's
    observation, an end before its entry, unknown ages. Source: Lawless & Nadeau 1995, Technometrics 37; Nelson 1995,
    Technometrics 37.
    """
    first, last = np.array(entry, dtype=float, ndmin=1), np.array(end, dtype=float, ndmin=1)
    unit, when = np.array(event_unit, dtype=np.intp, ndmin=1), np.array(event_age, dtype=float, ndmin=1)
    _check(first, last, unit, when)
    age, place = np.unique(when, return_inverse=True)
    events = np.bincount(place, minlength=len(age)).astype(float)
    at_risk = np.array([float(((first < a) & (a <= last)).sum()) for a in age])
    rate = events / at_risk
    mean = np.cumsum(rate)
    return MeanCumulativeFunction(
        age, at_risk, events, mean, _robust_error(first, last, unit, place.astype(np.intp), age, at_risk, rate)
    )


def _robust_error(
    first: Values, last: Values, unit: Places, place: Places, age: Values, at_risk: Values, rate: Values
) -> Values:
    """Return sqrt of the sum over units of (own events less expected, each over the number at risk) squared."""
    square = np.zeros(len(age))
    expected = np.concatenate([[0.0], np.cumsum(rate / at_risk)])
    steps = np.arange(1, len(age) + 1)
    order = np.argsort(unit, kind="stable")
    bounds = np.searchsorted(unit[order], np.arange(len(first) + 1))
    for i in range(len(first)):
        begin, stop = np.searchsorted(age, [first[i], last[i]], side="right")
        own = np.bincount(place[order[bounds[i] : bounds[i + 1]]], minlength=len(age)) / at_risk
        influence = np.cumsum(own) - (expected[np.clip(steps, begin, stop)] - expected[begin])
        square += influence**2
    return np.sqrt(square)


def _check(first: Values, last: Values, unit: Places, when: Values) -> None:
    if len(first) != len(last) or len(unit) != len(when):
        raise ValueError(
            f"entry and end need one length, event_unit and event_age another; found {len(first)}, {len(last)}, "
            f"{len(unit)} and {len(when)}"
        )
    if not (np.isfinite(first).all() and np.isfinite(last).all() and np.isfinite(when).all()):
        raise ValueError("entry, end and event ages must be known")
    if (last < first).any():
        raise ValueError(f"the end lies before the entry in unit {int((last < first).argmax())}")
    if len(unit) and (unit.min() < 0 or unit.max() >= len(first)):
        raise ValueError(f"event_unit must lie within 0 to {len(first) - 1}")
    outside = (when <= first[unit]) | (when > last[unit])
    if outside.any():
        where = int(outside.argmax())
        raise ValueError(
            f"{int(outside.sum())} events lie outside their unit's observation, first at age {when[where]:g} "
            f"of unit {int(unit[where])}"
        )
