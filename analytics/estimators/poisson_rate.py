"""Exact limits for a rate of events an exposure, and for observed against expected."""

import numpy as np
import numpy.typing as npt
from scipy import special

from analytics.estimators.arrays import FloatArray, as_amounts, as_counts, as_positive, tail
from analytics.estimators.interval import Intervals


def rate(count: npt.ArrayLike, exposure: npt.ArrayLike, level: float = 0.95) -> Intervals:
    """Give the rate with exact Poisson limits, in events a unit of exposure, for each group.

    count: events; exposure: more than zero, in any unit (100,000 km, job months); one shape. Raises
    ValueError. Method: Garwood, Biometrika 28 (1936) 437, by gamma quantiles; the lower limit is 0 at no
    events.
    """
    x, e = np.broadcast_arrays(as_counts("count", count), as_positive("exposure", exposure))
    lower, upper = _limits(x, tail(level))
    return Intervals(x / e, lower / e, upper / e, level, "exact Poisson")


def observed_to_expected(observed: npt.ArrayLike, expected: npt.ArrayLike, level: float = 0.95) -> Intervals:
    """Give observed / expected with exact Poisson limits, the expectation taken as known, for each group.

    observed: events; expected: more than zero; one shape. Raises ValueError otherwise.
    Method: the exact limits of the observed count divided by the expected.
    """
    return rate(observed, expected, level)


def cluster_rate(
    count: npt.ArrayLike,
    exposure: npt.ArrayLike,
    units: npt.ArrayLike,
    sum_count_squared: npt.ArrayLike,
    sum_count_exposure: npt.ArrayLike,
    sum_exposure_squared: npt.ArrayLike,
    level: float = 0.95,
) -> Intervals:
    """Give the rate with limits that hold where one unit contributes several events, for each group.

    With x_i events in exposure e_i of unit i: count = sum x_i, exposure = sum e_i, units = how many units,
    then sum x_i^2, sum x_i e_i and sum e_i^2, all of one shape. Raises ValueError otherwise.

    Method: the variance between units over the Poisson variance is the dispersion, never taken below 1; exact
    limits are taken at count / dispersion events, and the dispersion carries the few-units allowance
    (t[units - 1] / z)^2 so far as it exceeds 1. With no events, or one unit, nothing is known of the
    dispersion and the plain exact limits are given.
    """
    x, e = np.broadcast_arrays(as_counts("count", count), as_positive("exposure", exposure))
    k = as_positive("units", as_counts("units", units))
    xx = as_amounts("sum_count_squared", sum_count_squared)
    xe = as_amounts("sum_count_exposure", sum_count_exposure)
    ee = as_amounts("sum_exposure_squared", sum_exposure_squared)
    alpha = tail(level)
    dispersion = _dispersion(x, e, k, xx, xe, ee, alpha)
    lower, upper = _limits(x / dispersion, alpha)
    method = "exact Poisson at the effective number of events, by unit"
    return Intervals(x / e, lower * dispersion / e, upper * dispersion / e, level, method)


def rate_ratio(
    count: npt.ArrayLike,
    exposure: npt.ArrayLike,
    other_count: npt.ArrayLike,
    other_exposure: npt.ArrayLike,
    level: float = 0.95,
) -> Intervals:
    """Give the ratio of two rates with exact conditional limits, for each pair.

    Counts of one shape, exposures more than zero, other_count at least 1 so that the ratio is a number. The
    upper limit is finite. Raises ValueError otherwise. Method: given the total, the first count is binomial
    (Przyborowski & Wilenski, Biometrika 31 (1940) 313).
    """
    x, e = as_counts("count", count), as_positive("exposure", exposure)
    y = as_positive("other_count", as_counts("other_count", other_count))
    f = as_positive("other_exposure", other_exposure)
    alpha = tail(level)
    low = np.where(x == 0, 0.0, special.betaincinv(np.maximum(x, 1), y + 1, alpha))
    high = special.betaincinv(x + 1, y, 1 - alpha)
    scale = f / e
    method = "exact conditional ratio of two Poisson rates"
    return Intervals(x / y * scale, low / (1 - low) * scale, high / (1 - high) * scale, level, method)


def _limits(x: FloatArray, alpha: float) -> tuple[FloatArray, FloatArray]:
    lower = np.where(x == 0, 0.0, special.gammaincinv(np.where(x == 0, 1.0, x), alpha))
    return lower, np.asarray(special.gammaincinv(x + 1, 1 - alpha), dtype=np.float64)


def _dispersion(
    x: FloatArray, e: FloatArray, k: FloatArray, xx: FloatArray, xe: FloatArray, ee: FloatArray, alpha: float
) -> FloatArray:
    known = (x > 0) & (k > 1)
    r = x / e
    freedom = np.where(known, k - 1, 1.0)
    between = np.where(known, k, 1.0) / freedom * (xx - 2 * r * xe + r * r * ee)
    raw = np.maximum(np.where(known, between / np.where(x > 0, x, 1.0), 1.0), 1.0)
    allowance = (special.stdtrit(freedom, 1 - alpha) / special.ndtri(1 - alpha)) ** 2
    return np.asarray(np.where(known, 1 + (raw - 1) * allowance, 1.0), dtype=np.float64)
