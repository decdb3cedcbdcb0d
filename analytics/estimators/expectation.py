"""What each group would have seen at the rates of all the others: its own record left out of its expectation."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from analytics.estimators.arrays import FloatArray, as_amounts, as_counts, tail
from analytics.estimators.interval import Intervals


@dataclass(frozen=True)
class Expectation:
    """Hold each group's observed and expected counts over the strata where others give a rate, each (groups).

    variance: of the expectation, from the others' counts being finite. left_out: share of the group's exposure in
    strata where it is alone, which is compared with nobody.
    """

    observed: FloatArray
    expected: FloatArray
    variance: FloatArray
    left_out: FloatArray


def expect_from_others(observed: npt.ArrayLike, exposure: npt.ArrayLike) -> Expectation:
    """Expect each group's events from the rates of the other groups in the same strata.

    observed: (groups, strata) events; exposure: (groups, strata) jobs, months or km at risk, in any unit, 0 where
    none. Raises ValueError on other shapes, on events without exposure, and where a group has no exposure at all.
    Method: indirect standardisation, the group left out of the rates that are applied to it.
    """
    o, e = as_counts("observed", observed), as_amounts("exposure", exposure)
    if o.ndim != 2 or o.shape != e.shape or np.any((e == 0) & (o > 0)):
        raise ValueError("observed and exposure must be (groups, strata), with no events where there is no exposure")
    if np.any(e.sum(1) == 0):
        raise ValueError(f"group {int(np.flatnonzero(e.sum(1) == 0)[0])} has no exposure at all")
    # Summing the others anew leaves no trace of the group itself, as subtracting it from the total would by rounding.
    others_events, others_exposure = _others(o), _others(e)
    compared = others_exposure > 0
    rate = np.where(compared, others_events / np.where(compared, others_exposure, 1), 0.0)
    uncertain = np.where(compared, others_events / np.where(compared, others_exposure, 1) ** 2, 0.0)
    return Expectation(
        np.where(compared, o, 0).sum(1),
        (e * rate).sum(1),
        (e * e * uncertain).sum(1),
        np.where(compared, 0, e).sum(1) / e.sum(1),
    )


def ratio_to_others(found: Expectation, level: float = 0.95) -> Intervals:
    """Give observed / expected with limits that include how uncertain the expectation is, for each group.

    Raises ValueError where a group's expectation is 0, since others then had no events to go by.
    Method: the expectation is worth expected^2 / variance events of the others; exact conditional limits of a ratio
    of two Poisson rates at that count. With one stratum that is the exact test against the others.
    """
    if np.any(found.expected <= 0):
        group = int(np.flatnonzero(found.expected <= 0)[0])
        raise ValueError(f"group {group} has nothing expected: the others had no events")
    alpha, x = tail(level), found.observed
    worth = found.expected**2 / found.variance
    low = np.where(x == 0, 0.0, special.betaincinv(np.maximum(x, 1), worth + 1, alpha))
    high = special.betaincinv(x + 1, worth, 1 - alpha)
    scale = worth / found.expected
    lower, upper = low / (1 - low) * scale, high / np.maximum(1 - high, 1e-300) * scale
    return Intervals(x / found.expected, lower, upper, level, "exact conditional, expectation from the others")


def _others(values: FloatArray) -> FloatArray:
    before = np.zeros_like(values)
    after = np.zeros_like(values)
    before[1:] = np.cumsum(values, axis=0)[:-1]
    after[:-1] = np.cumsum(values[::-1], axis=0)[::-1][1:]
    return before + after
