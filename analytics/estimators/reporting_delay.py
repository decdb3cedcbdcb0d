"""How long things take to become known, from those already known, and what young quarters will still bring."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from analytics.estimators.arrays import FloatArray, IntArray, as_amounts, as_codes, as_counts, same_length, tail
from analytics.estimators.interval import TooFew

DELAYS_NEEDED = 10
SHARE_NEEDED = 0.1
_SCORES = np.linspace(-3.5, 3.5, 29)


@dataclass(frozen=True)
class DelayCurve:
    """Hold the share of delays at or below each delay seen, among those that become known within the horizon.

    delay, share, lower, upper, log_variance: (distinct delays), log_variance that of log share; horizon: the longest
    delay it speaks of, in the delays' unit; delays: how many were seen.
    """

    delay: FloatArray
    share: FloatArray
    lower: FloatArray
    upper: FloatArray
    log_variance: FloatArray
    horizon: float
    delays: int
    level: float
    method: str

    def at(self, age: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
        """Give the share known by each age and the variance of its log; 0 and 0 before the shortest delay."""
        row = np.searchsorted(self.delay, as_amounts("age", age), side="right") - 1
        safe = np.maximum(row, 0)
        return np.where(row >= 0, self.share[safe], 0.0), np.where(row >= 0, self.log_variance[safe], 0.0)


@dataclass(frozen=True)
class Completed:
    """Hold, for cohorts old enough to say, what was seen and what it will come to within the horizon.

    cohort: codes; observed: seen so far; reported: share of the cohort's events that would be known by now; estimate,
    lower, upper: events once all are known, limits of prediction. too_few: (cohort, statement) for the others.
    """

    cohort: IntArray
    observed: FloatArray
    reported: FloatArray
    estimate: FloatArray
    lower: FloatArray
    upper: FloatArray
    too_few: tuple[tuple[int, TooFew], ...]
    level: float
    method: str


def delay_distribution(
    delay: npt.ArrayLike, window: npt.ArrayLike, horizon: float | None = None, level: float = 0.95
) -> DelayCurve | TooFew:
    """Estimate how delays are distributed from those that have become known, at least 10 of them.

    delay: (known events) from delivery (or fault) to the day it became known; window: (known events) from delivery to
    as-of, the longest delay that could have been seen; same unit, delay at most window; horizon: the longest delay to
    speak of, if left out the longest for which 10 events had that much window. Raises ValueError otherwise.

    Method: the product-limit estimate in reversed time, in which the window is late entry (Lagakos, Barraj & De
    Gruttola, Biometrika 75 (1988) 515; Kalbfleisch & Lawless, J. Am. Stat. Assoc. 84 (1989) 360); Greenwood variance;
    limits on the log minus log scale. Ties are counted together. What takes longer than the horizon is not in it:
    no record could tell how much that is.
    """
    x, w = as_amounts("delay", delay), as_amounts("window", window)
    same_length(delay=x, window=w)
    if np.any(x > w):
        raise ValueError("delay must not exceed the window in which it could have been seen")
    if len(x) >= DELAYS_NEEDED and horizon is None:
        horizon = float(np.sort(w)[-DELAYS_NEEDED])
    if horizon is not None:
        w = np.minimum(w, horizon)[x <= horizon]
        x = x[x <= horizon]
    if len(x) < DELAYS_NEEDED or horizon is None:
        return TooFew("delays", len(x), DELAYS_NEEDED)
    times, events = np.unique(x, return_counts=True)
    # At risk in reversed time: known at or before this delay, and followed at least as long.
    at_risk = np.cumsum(events) - np.searchsorted(np.sort(w), times, side="left")
    left = at_risk - events
    later = left[1:] / at_risk[1:]
    share = np.append(np.cumprod(later[::-1])[::-1], 1.0)
    step = np.where(left[1:] > 0, events[1:] / (at_risk[1:] * np.maximum(left[1:], 1)), 0.0)
    variance = np.append(np.cumsum(step[::-1])[::-1], 0.0)
    inside = (share > 0) & (share < 1)
    safe = np.where(inside, share, 0.5)
    stretch = np.exp(special.ndtri(1 - tail(level)) * np.sqrt(variance) / -np.log(safe))
    lower, upper = np.where(inside, safe**stretch, share), np.where(inside, safe ** (1 / stretch), share)
    method = "product limit in reversed time, log-log limits"
    return DelayCurve(times, share, lower, upper, variance, horizon, len(x), level, method)


def complete_cohorts(
    curve: DelayCurve, cohort: npt.ArrayLike, age: npt.ArrayLike, observed: npt.ArrayLike, level: float = 0.95
) -> Completed:
    """Predict how many events each cohort will have had once all within the horizon are known.

    cohort: (jobs) codes from 0; age: (jobs) from delivery to as-of; observed: (cohorts) events known so far, of
    delays within the curve's horizon. A cohort of which less than a tenth would be known by now is listed in
    `too_few`. Raises ValueError otherwise.

    Method: observed over the mean share known by the jobs' ages; given the share, the events still to come are
    negative binomial (Jeffreys prior); the uncertainty of the share is averaged over on the log odds scale.
    """
    code, seen = as_codes("cohort", cohort), as_counts("observed", observed)
    share, variance = curve.at(age)
    same_length(cohort=code, age=share)
    jobs = np.bincount(code, minlength=len(seen))
    if len(jobs) > len(seen) or np.any(jobs == 0):
        raise ValueError(f"observed must have one entry for each of the {len(jobs)} cohorts, each with jobs")
    reported = np.bincount(code, weights=share, minlength=len(seen)) / jobs
    # Errors at different ages come from one curve and are taken as moving together.
    error = np.bincount(code, weights=share * np.sqrt(variance), minlength=len(seen)) / jobs
    enough = np.flatnonzero(reported >= SHARE_NEEDED)
    too_few = tuple(
        (int(row), TooFew("percent known by now", int(100 * reported[row]), int(100 * SHARE_NEEDED)))
        for row in np.flatnonzero(reported < SHARE_NEEDED)
    )
    n, f = seen[enough], reported[enough]
    coming = [_coming(n, f, error[enough], q) for q in (tail(level), 1 - tail(level))]
    method = "observed over share known by now, negative binomial prediction"
    return Completed(enough, n, f, n / f, n + coming[0], n + coming[1], too_few, level, method)


def _coming(n: FloatArray, share: FloatArray, error: FloatArray, probability: float) -> FloatArray:
    """Give the quantile of the events still to come, uncertainty of the share included, by bisection."""
    weight = np.exp(-(_SCORES**2) / 2)
    weight /= weight.sum()
    odds = special.logit(np.clip(share, 1e-9, 1 - 1e-9))
    spread = error / np.clip(share * (1 - share), 1e-9, None)
    nodes = special.expit(odds[:, None] + _SCORES * np.minimum(spread, 5.0)[:, None])
    low, high = np.full(len(n), -1.0), (n + 10) / share * 50
    for _ in range(60):
        middle = np.floor((low + high) / 2)
        reached = (special.betainc(n[:, None] + 0.5, middle[:, None] + 1, nodes) @ weight) >= probability
        low, high = np.where(reached, low, middle), np.where(reached, middle, high)
    return np.where(share >= 1, 0.0, np.ceil(high))
