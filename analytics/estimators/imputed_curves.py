"""Combine survival curves estimated from several imputations of what was not read."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import special

from analytics.estimators.arrays import FloatArray, tail


def combined_limits(
    survival: npt.ArrayLike, lower: npt.ArrayLike, upper: npt.ArrayLike, level: float = 0.95
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the share failed with limits that carry the uncertainty of the imputed values.

    survival, lower, upper: (imputations, times) survival with its log-log limits at `level`, at least 2 imputations.
    Returns share failed, its lower and its upper limit, each (times). Raises ValueError on other shapes.
    Method: Rubin (Multiple Imputation for Nonresponse in Surveys, 1987, section 3.1) on the log minus log scale:
    within plus (1 + 1/m) between variance, t quantile with Rubin's degrees of freedom. Where a curve has not fallen
    yet, or has fallen to 0, in some imputation, that scale does not exist; then the widest limits of any imputation
    are given.
    """
    s, low, high = (np.asarray(x, dtype=np.float64) for x in (survival, lower, upper))
    if s.ndim != 2 or s.shape[0] < 2 or s.shape != low.shape or s.shape != high.shape:
        raise ValueError(f"expected (imputations, times) of one shape and at least 2 imputations, found {s.shape}")
    m = s.shape[0]
    inside = np.all((s > 0) & (s < 1) & (low > 0) & (high < 1), axis=0)
    theta = _scale(np.where(inside, s, 0.5))
    z = float(special.ndtri(1 - tail(level)))
    error = (_scale(np.where(inside, low, 0.4)) - _scale(np.where(inside, high, 0.6))) / (2 * z)
    within, between = np.mean(error**2, axis=0), np.var(theta, axis=0, ddof=1)
    total = within + (1 + 1 / m) * between
    ratio = np.where(between > 0, within / np.where(between > 0, (1 + 1 / m) * between, 1.0), np.inf)
    freedom = np.minimum((m - 1) * (1 + np.minimum(ratio, 1e6)) ** 2, 1e12)
    half = special.stdtrit(freedom, 1 - tail(level)) * np.sqrt(total)
    middle = np.mean(theta, axis=0)
    failed = [1 - np.exp(-np.exp(x)) for x in (middle, middle - half, middle + half)]
    widest = [1 - s.mean(axis=0), 1 - high.max(axis=0), 1 - low.min(axis=0)]
    share, share_low, share_high = (np.where(inside, a, b) for a, b in zip(failed, widest, strict=True))
    return share, share_low, share_high


def _scale(survival: FloatArray) -> FloatArray:
    return np.asarray(np.log(-np.log(survival)), dtype=np.float64)
