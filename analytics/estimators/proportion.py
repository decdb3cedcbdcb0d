"""Intervals for a proportion: findings graded failed out of those inspected."""

import numpy as np
import numpy.typing as npt
from scipy import special

from analytics.estimators.arrays import (
    BoolArray,
    FloatArray,
    as_amounts,
    as_counts,
    as_positive,
    tail,
)
from analytics.estimators.interval import Intervals


def wilson(failed: npt.ArrayLike, inspected: npt.ArrayLike, level: float = 0.95) -> Intervals:
    """Give the score interval for each group's proportion.

    failed, inspected: counts of one shape, inspected at least 1. Raises ValueError otherwise.
    Method: Wilson, J. Am. Stat. Assoc. 22 (1927) 209; without continuity correction.
    """
    x, n = _failed_of_inspected(failed, inspected)
    lower, upper = _score_limits(x / n, n, tail(level))
    return Intervals(x / n, lower, upper, level, "Wilson")


def clopper_pearson(failed: npt.ArrayLike, inspected: npt.ArrayLike, level: float = 0.95) -> Intervals:
    """Give the exact interval for each group's proportion, which covers at least `level` whatever the truth.

    failed, inspected: counts of one shape, inspected at least 1. Raises ValueError otherwise.
    Method: Clopper & Pearson, Biometrika 26 (1934) 404, by beta quantiles.
    """
    x, n = _failed_of_inspected(failed, inspected)
    alpha = tail(level)
    lower = np.where(x == 0, 0.0, special.betaincinv(np.maximum(x, 1), n - x + 1, alpha))
    upper = np.where(x == n, 1.0, special.betaincinv(x + 1, np.maximum(n - x, 1), 1 - alpha))
    return Intervals(x / n, lower, upper, level, "Clopper-Pearson")


def jeffreys(failed: npt.ArrayLike, inspected: npt.ArrayLike, level: float = 0.95) -> Intervals:
    """Give the equal-tailed interval under the Jeffreys prior, from 0 when none failed and to 1 when all did.

    failed, inspected: counts of one shape, inspected at least 1. Raises ValueError otherwise.
    Method: Brown, Cai & DasGupta, Stat. Sci. 16 (2001) 101.
    """
    x, n = _failed_of_inspected(failed, inspected)
    alpha = tail(level)
    lower = np.where(x == 0, 0.0, special.betaincinv(x + 0.5, n - x + 0.5, alpha))
    upper = np.where(x == n, 1.0, special.betaincinv(x + 0.5, n - x + 0.5, 1 - alpha))
    return Intervals(x / n, lower, upper, level, "Jeffreys")


def cluster_wilson(
    failed: npt.ArrayLike,
    inspected: npt.ArrayLike,
    units: npt.ArrayLike,
    sum_failed_squared: npt.ArrayLike,
    sum_failed_inspected: npt.ArrayLike,
    sum_inspected_squared: npt.ArrayLike,
    level: float = 0.95,
) -> Intervals:
    """Give the score interval at the effective number inspected, where a unit contributes several findings.

    All arguments have one shape, one entry a group. With x_i failed of n_i inspected in unit i: failed = sum
    x_i, inspected = sum n_i, units = how many units, then sum x_i^2, sum x_i n_i and sum n_i^2. Raises
    ValueError where these cannot belong together. Equals `wilson` exactly where every unit contributes one
    finding.

    Method: `effective_inspected` in the place of the count in Wilson's formula.
    """
    x, n = _failed_of_inspected(failed, inspected)
    effective = effective_inspected(
        failed, inspected, units, sum_failed_squared, sum_failed_inspected, sum_inspected_squared, level
    )
    return effective_wilson(x, n, effective, level)


def effective_wilson(
    failed: npt.ArrayLike, inspected: npt.ArrayLike, effective: npt.ArrayLike, level: float = 0.95
) -> Intervals:
    """Give the score interval of failed / inspected as if only `effective` independent findings had been made.

    All arguments have one shape; effective from `effective_inspected`, above nought. Raises ValueError otherwise.
    """
    x, n = _failed_of_inspected(failed, inspected)
    worth = as_positive("effective", as_amounts("effective", effective))
    lower, upper = _score_limits(x / n, worth, tail(level))
    return Intervals(x / n, lower, upper, level, "Wilson at the effective number inspected, by unit")


def effective_inspected(
    failed: npt.ArrayLike,
    inspected: npt.ArrayLike,
    units: npt.ArrayLike,
    sum_failed_squared: npt.ArrayLike,
    sum_failed_inspected: npt.ArrayLike,
    sum_inspected_squared: npt.ArrayLike,
    level: float = 0.95,
) -> FloatArray:
    """Give how many independent findings the clustered ones are worth, including the few-units allowance.

    Arguments as `cluster_wilson`. Returns numbers between 0 and `inspected`.

    Method: linearised (ratio) variance between units over the variance under independence is the design
    effect, never taken below 1; the count is divided by it and by (t[units - 1] / t[inspected - 1])^2, as
    Korn & Graubard, Survey Methodology 24 (1998) 193. The allowance never takes it below the value under
    complete dependence within units, inspected^2 / sum n_i^2 (Kish 1965), which is also used where none or
    all failed, since then the records hold nothing about dependence.
    """
    x, n = _failed_of_inspected(failed, inspected)
    k = as_positive("units", as_counts("units", units))
    xx = as_amounts("sum_failed_squared", sum_failed_squared)
    xn = as_amounts("sum_failed_inspected", sum_failed_inspected)
    nn = as_positive("sum_inspected_squared", sum_inspected_squared)
    _refuse_impossible_sums(x, n, k, xx, xn, nn)
    dependent = np.minimum(n * n / nn, k)
    varied = (x > 0) & (x < n) & (k > 1)
    divided = n / _design_effect(x, n, k, xx, xn, nn, varied)
    allowed = divided * _few_units_allowance(n, k, tail(level), varied)
    effective = np.where(varied, np.maximum(allowed, np.minimum(divided, dependent)), dependent)
    return np.asarray(np.where(k == n, n, effective), dtype=np.float64)


def _design_effect(
    x: FloatArray,
    n: FloatArray,
    k: FloatArray,
    xx: FloatArray,
    xn: FloatArray,
    nn: FloatArray,
    varied: BoolArray,
) -> FloatArray:
    p = np.where(varied, x / n, 0.5)
    between = np.where(k > 1, k, 2) / (np.where(k > 1, k, 2) - 1) * (xx - 2 * p * xn + p * p * nn) / (n * n)
    independent = p * (1 - p) / np.maximum(n - 1, 1)
    return np.asarray(np.maximum(between / independent, 1.0), dtype=np.float64)


def _few_units_allowance(n: FloatArray, k: FloatArray, alpha: float, varied: BoolArray) -> FloatArray:
    freedom = np.where(varied, k - 1, 1.0)
    plain = special.stdtrit(np.maximum(n - 1, 1.0), 1 - alpha)
    return np.asarray((plain / special.stdtrit(freedom, 1 - alpha)) ** 2, dtype=np.float64)


def _score_limits(p: FloatArray, n: FloatArray, alpha: float) -> tuple[FloatArray, FloatArray]:
    z2 = float(special.ndtri(1 - alpha)) ** 2
    middle = (p + z2 / (2 * n)) / (1 + z2 / n)
    half = np.sqrt(z2 * (p * (1 - p) / n + z2 / (4 * n * n))) / (1 + z2 / n)
    # The limits at none and all failed are 0 and 1 by algebra; rounding must not move them.
    lower = np.where(p == 0, 0.0, np.maximum(middle - half, 0.0))
    upper = np.where(p == 1, 1.0, np.minimum(middle + half, 1.0))
    return lower, upper


def _failed_of_inspected(failed: npt.ArrayLike, inspected: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    x, n = np.broadcast_arrays(as_counts("failed", failed), as_counts("inspected", inspected))
    as_positive("inspected", n)
    if np.any(x > n):
        raise ValueError("failed must not exceed inspected in any group")
    return x, n


def _refuse_impossible_sums(
    x: FloatArray, n: FloatArray, k: FloatArray, xx: FloatArray, xn: FloatArray, nn: FloatArray
) -> None:
    slack = 1e-9
    possible = ((k <= n) & (nn * k >= n * n * (1 - slack)) & (nn <= n * n * (1 + slack)) & (xx <= xn * (1 + slack))) & (
        (xn <= nn * (1 + slack)) & (xx >= x * (1 - slack)) & (xn >= x * (1 - slack))
    )
    if not np.all(possible):
        place = int(np.flatnonzero(np.ravel(~possible))[0])
        raise ValueError(f"the sums over units at place {place} cannot come from one set of units")
