"""One answer from several completed data sets, the uncertainty of what was filled in included."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from analytics.estimators.arrays import FloatArray, as_amounts, as_numbers, tail
from analytics.estimators.curve_values import CurveValues
from analytics.estimators.kaplan_meier import SurvivalCurves


@dataclass(frozen=True)
class Pooled:
    """Hold pooled estimates with limits, each of one shape, on the scale on which they were pooled.

    variance: total; freedom: degrees of freedom of the limits; missing: share of the variance that is due to what was
    filled in.
    """

    estimate: FloatArray
    lower: FloatArray
    upper: FloatArray
    variance: FloatArray
    freedom: FloatArray
    missing: FloatArray


def pool(
    estimates: npt.ArrayLike, variances: npt.ArrayLike, complete_freedom: float = np.inf, level: float = 0.95
) -> Pooled:
    """Pool estimates from several completed data sets, on a scale on which they are about normal.

    estimates, variances: (imputations, ...) at least 2 imputations; complete_freedom: degrees of freedom the estimate
    would have with nothing missing. Raises ValueError otherwise.
    Method: Rubin, Multiple Imputation for Nonresponse in Surveys (1987); degrees of freedom of Barnard & Rubin,
    Biometrika 86 (1999) 948.
    """
    q, u = as_numbers("estimates", estimates), as_amounts("variances", variances)
    if q.shape != u.shape or q.ndim < 1 or len(q) < 2:
        raise ValueError("estimates and variances must have one shape, with at least 2 imputations")
    m = len(q)
    between = q.var(axis=0, ddof=1) * (1 + 1 / m)
    total = u.mean(axis=0) + between
    missing = np.where(total > 0, between / np.where(total > 0, total, 1.0), 0.0)
    old = (m - 1) / np.maximum(missing, 1e-8) ** 2
    # (v + 1) / (v + 3) tends to 1 for infinite v, which floats do not know.
    room = 1.0 if np.isinf(complete_freedom) else (complete_freedom + 1) / (complete_freedom + 3)
    seen = np.maximum(room * complete_freedom * (1 - missing), 1e-8)
    freedom = 1 / (1 / old + 1 / seen)
    half = special.stdtrit(freedom, 1 - tail(level)) * np.sqrt(total)
    middle = q.mean(axis=0)
    return Pooled(middle, middle - half, middle + half, total, freedom, missing)


def pool_survival(
    curves: Sequence[SurvivalCurves], times: npt.ArrayLike, complete_freedom: float = np.inf
) -> tuple[CurveValues, FloatArray]:
    """Pool survival curves whose censoring times were filled in, at given times.

    curves: one of each completed data set, at least 2, of the same groups and level; times: in their unit. Returns
    the pooled values (groups, times) and the share of their variance that is due to what was filled in. Raises
    ValueError otherwise.

    Method: `pool` on the log minus log scale. Where some curve is at 1 or 0, that scale ends: there the mean curve is
    given with the widest of the limits. A time is known where it is in every curve.
    """
    if len(curves) < 2 or len({curve.level for curve in curves}) > 1:
        raise ValueError("curves must be at least 2 and have one level")
    when = np.atleast_1d(as_numbers("times", times))
    read = [curve.at(when) for curve in curves]
    survival, lower, upper = (np.stack([getattr(r, side) for r in read]) for side in ("estimate", "lower", "upper"))
    variance = np.stack([_log_variance(curve, when) for curve in curves])
    inside = ((survival > 0) & (survival < 1)).all(axis=0)
    log = np.log(np.where(inside, survival, 0.5))
    pooled = pool(np.log(-log), np.where(inside, variance / log**2, 0.0), complete_freedom, curves[0].level)
    # The larger the log minus log, the lower the survival.
    middle, low, high = (np.exp(-np.exp(end)) for end in (pooled.estimate, pooled.upper, pooled.lower))
    values = CurveValues(
        when,
        np.where(inside, middle, survival.mean(axis=0)),
        np.where(inside, low, lower.min(axis=0)),
        np.where(inside, high, upper.max(axis=0)),
        np.mean([r.at_risk for r in read], axis=0),
        np.all([r.known for r in read], axis=0),
    )
    return values, np.where(inside, pooled.missing, 0.0)


def _log_variance(curve: SurvivalCurves, times: FloatArray) -> FloatArray:
    row = curve.table.rows_at(times)
    begun = row >= curve.table.start[:-1, None]
    return np.where(begun, np.append(curve.log_variance, 0.0)[np.maximum(row, 0)], 0.0)
