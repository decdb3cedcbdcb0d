"""Do visits come closer together as units age, or further apart? Trend tests for many units pooled."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from analytics.estimators.life_models import Values
from analytics.estimators.life_observations import TooFewToSay

FEWEST_EVENTS = 5
FEWEST_UNITS = 8


@dataclass(frozen=True)
class TrendTest:
    """Hold a two-sided test of "no trend".

    Columns: statistic (standard normal when there is none; above zero: events come faster with age); p_value;
    events; units (those with an event).
    """

    statistic: float
    p_value: float
    events: int
    units: int


def trend_test(
    entry: ArrayLike, end: ArrayLike, event_unit: ArrayLike, event_age: ArrayLike
) -> TrendTest | TooFewToSay:
    """Test for a trend, allowing units to differ in rate and events of one unit to cluster.

    Shapes as in mean_cumulative_function. The Laplace score of each unit (the sum over its events of age less the
    middle of its observation) has mean zero when its rate is constant; their sum is divided by the root of the sum
    of their squares, the robust standard error, so no Poisson process is assumed. Raises ValueError for an event
    outside its unit's observation or unknown ages. Source: Lawless, Cigsar & Cook 2012, "Testing for monotone trend
    in recurrent event processes", Technometrics 54.
    """
    first, last, unit, when = _events(entry, end, event_unit, event_age)
    score = np.bincount(unit, weights=when - (first + last)[unit] / 2, minlength=len(first))
    units = len(np.unique(unit))
    if units < FEWEST_UNITS:
        return TooFewToSay(
            f"a trend needs at least {FEWEST_UNITS} units with an event; found {units}", len(unit), len(first)
        )
    error = float(np.sqrt(np.sort(score**2).sum()))
    if error == 0:
        return TooFewToSay("every event lies in the middle of its unit's observation", len(unit), len(first))
    return _result(float(np.sort(score).sum()) / error, unit)


def laplace_test(
    entry: ArrayLike, end: ArrayLike, event_unit: ArrayLike, event_age: ArrayLike
) -> TrendTest | TooFewToSay:
    """Test for a trend against a constant-rate Poisson process whose rate may differ from unit to unit.

    Shapes and errors as in trend_test. Given each unit's number of events, their ages are uniform over its observation
    when there is no trend. Source: Cox & Lewis 1966; Ascher & Feingold 1984; NIST/SEMATECH e-Handbook 8.2.3.4.
    """
    first, last, unit, when = _events(entry, end, event_unit, event_age)
    if len(unit) < FEWEST_EVENTS:
        return TooFewToSay(f"a trend needs at least {FEWEST_EVENTS} events", len(unit), len(first))
    length = (last - first)[unit]
    error = float(np.sqrt((length**2).sum() / 12))
    if error == 0:
        return TooFewToSay("no unit was followed for any distance", len(unit), len(first))
    return _result(float((when - first[unit] - length / 2).sum()) / error, unit)


def _events(
    entry: ArrayLike, end: ArrayLike, event_unit: ArrayLike, event_age: ArrayLike
) -> tuple[Values, Values, NDArray[np.intp], Values]:
    """Return the arrays, events sorted by unit and age; raise ValueError where they do not fit together."""
    first, last = np.array(entry, dtype=float, ndmin=1), np.array(end, dtype=float, ndmin=1)
    unit = np.array(event_unit, dtype=np.intp, ndmin=1)
    when = np.array(event_age, dtype=float, ndmin=1)
    if len(first) != len(last) or len(unit) != len(when):
        raise ValueError("entry and end need one length, event_unit and event_age another")
    if not (np.isfinite(first).all() and np.isfinite(last).all() and np.isfinite(when).all()):
        raise ValueError("entry, end and event ages must be known")
    if len(unit) and (unit.min() < 0 or unit.max() >= len(first)):
        raise ValueError(f"event_unit must lie within 0 to {len(first) - 1}")
    if len(unit) and ((when < first[unit]) | (when > last[unit])).any():
        raise ValueError("an event lies outside its unit's observation")
    order = np.lexsort((when, unit))
    return first, last, unit[order], when[order]


def _result(statistic: float, unit: NDArray[np.intp]) -> TrendTest:
    return TrendTest(statistic, float(2 * ndtr(-abs(statistic))), len(unit), len(np.unique(unit)))
