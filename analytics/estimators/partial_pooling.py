"""Partial pooling: many noisy estimates of one kind, each drawn towards what they share."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, special

from analytics.estimators.arrays import FloatArray, as_numbers, as_positive, same_length, tail
from analytics.estimators.interval import Intervals

SMALLEST = 4
"""Below this many estimates the spread between them cannot be told from noise: they stand as they are."""


@dataclass(frozen=True)
class PartialPooling:
    """Hold pooled estimates in the order and unit of the input.

    `weights` is how far each was drawn (0 not at all, 1 to the common mean). `spread` is the standard
    deviation between the true values. `pooled` is False with fewer than four estimates, which then stand
    as they are.
    """

    estimates: Intervals
    weights: FloatArray
    mean: float
    spread: float
    pooled: bool


def partial_pooling(estimates: ArrayLike, deviations: ArrayLike, level: float = 0.95) -> PartialPooling:
    """Shrink estimates with known standard errors towards their weighted mean, by how alike they are.

    `estimates` and `deviations` (standard errors, above zero) of one length. Normal-normal parametric
    empirical Bayes: the variance between is fitted by moments, the shrinkage corrected by (k - 3) / (k - 1)
    and the intervals widened for not knowing mean and variance (Morris 1983). With equal standard errors
    this is the James-Stein estimator towards the mean. Raises ValueError for non-finite or non-positive
    input.
    """
    side = tail(level)
    y, v = as_numbers("estimates", estimates), as_positive("deviations", deviations) ** 2
    same_length(estimates=y, deviations=v)
    if y.size == 0:
        raise ValueError("expected at least one estimate, found none")
    z = float(-special.ndtri(side))
    if y.size < SMALLEST:
        half = z * np.sqrt(v)
        alone = Intervals(y, y - half, y + half, level, "not pooled: fewer than four estimates")
        return PartialPooling(alone, np.zeros(y.size), _weighted_mean(y, v, 0.0), 0.0, False)
    variance = _between(y, v)
    count = y.size
    mean = _weighted_mean(y, v, variance)
    weights = (count - 3) / (count - 1) * v / (v + variance)
    share = 1 / (v + variance)
    average = float((share * v).sum() / share.sum())
    unsure = 2 / (count - 3) * weights**2 * (average + variance) / (v + variance)
    own = count * share / share.sum()
    spread = v * (1 - (count - own) / count * weights) + unsure * (y - mean) ** 2
    centre = y - weights * (y - mean)
    half = z * np.sqrt(spread)
    pooled = Intervals(centre, centre - half, centre + half, level, "empirical Bayes (Morris 1983)")
    return PartialPooling(pooled, weights, mean, float(np.sqrt(variance)), True)


def _weighted_mean(y: FloatArray, v: FloatArray, variance: float) -> float:
    share = 1 / (v + variance)
    return float(np.sort(share * y).sum() / np.sort(share).sum())


def _between(y: FloatArray, v: FloatArray) -> float:
    """Solve the moment equation sum (y - mean)^2 / (v + A) = k - 1 for the variance A between, from zero on."""

    def excess(variance: float) -> float:
        mean = _weighted_mean(y, v, variance)
        return float(np.sort((y - mean) ** 2 / (v + variance)).sum() - (y.size - 1))

    if excess(0.0) <= 0:
        return 0.0
    high = float(np.var(y) * y.size + v.max())
    return float(optimize.brentq(excess, 0.0, high, xtol=1e-14 * high, rtol=1e-13))
