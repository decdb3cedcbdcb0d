"""Log-linear and logistic straight lines for many groups at once, by Fisher scoring."""

from dataclasses import dataclass

import numpy as np
from scipy import special

from analytics.estimators.arrays import FloatArray

_STEPS = 100
_STEP_LIMIT = 2.0


@dataclass(frozen=True)
class Lines:
    """Hold level and slope of each group's line, fitted means (groups, points) and the inverse information.

    variance: (groups) model variance of the slope; influence: (groups, points) weight with which each point's
    residual moves the slope.
    """

    level: FloatArray
    slope: FloatArray
    mean: FloatArray
    variance: FloatArray
    influence: FloatArray


def log_linear(y: FloatArray, x: FloatArray, exposure: FloatArray) -> Lines:
    """Fit mean = exposure exp(level + slope x) to counts y by Poisson likelihood.

    y, exposure: (groups, points), exposure 0 for a point not observed; x: (points), best about -1 .. 1.
    Raises ValueError where the likelihood has no maximum (all counts at one end).
    """
    centre, seen = (y * x).sum(1) / y.sum(1), exposure > 0
    nearest, farthest = np.where(seen, x, np.inf).min(1), np.where(seen, x, -np.inf).max(1)
    if np.any((centre <= nearest) | (centre >= farthest)):
        raise ValueError("the counts lie all at one end: no log-linear line fits them")
    level = np.log(y.sum(1) / exposure.sum(1))
    slope = np.zeros(len(y))
    for _ in range(_STEPS):
        mean = exposure * np.exp(level[:, None] + slope[:, None] * x)
        down, across = _newton(y - mean, mean, x)
        level, slope = level + down, slope + across
        if np.max(np.abs(down) + np.abs(across), initial=0.0) < 1e-11:
            mean = exposure * np.exp(level[:, None] + slope[:, None] * x)
            return _lines(level, slope, mean, mean, x)
    raise ValueError(f"no log-linear line was reached in {_STEPS} steps")


def logistic(y: FloatArray, n: FloatArray, x: FloatArray) -> Lines:
    """Fit share = expit(level + slope x) to y of n with Firth's correction, which is finite whatever the data.

    y, n: (groups, points), n 0 for a point not observed; x: (points), best about -1 .. 1.
    Method: Firth, Biometrika 80 (1993) 27: half the leverage is added to either outcome of each point.
    """
    level, slope = special.logit((y.sum(1) + 0.5) / (n.sum(1) + 1)), np.zeros(len(y))
    for _ in range(_STEPS):
        share = special.expit(level[:, None] + slope[:, None] * x)
        weight = n * share * (1 - share)
        leverage = _leverage(weight, x)
        score = y - n * share + leverage * (0.5 - share)
        down, across = _newton(score, weight, x)
        level, slope = level + down, slope + across
        if np.max(np.abs(down) + np.abs(across), initial=0.0) < 1e-10:
            share = special.expit(level[:, None] + slope[:, None] * x)
            return _lines(level, slope, n * share, n * share * (1 - share), x)
    raise ValueError("no logistic line fits: the points of some group all lie at one x")


def _information(weight: FloatArray, x: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    a, b, c = weight.sum(1), (weight * x).sum(1), (weight * x * x).sum(1)
    return a, b, c, np.maximum(a * c - b * b, 1e-300)


def _newton(score: FloatArray, weight: FloatArray, x: FloatArray) -> tuple[FloatArray, FloatArray]:
    a, b, c, determinant = _information(weight, x)
    u, v = score.sum(1), (score * x).sum(1)
    down, across = (c * u - b * v) / determinant, (a * v - b * u) / determinant
    # A bounded step keeps the first moves from overshooting; the likelihoods are concave, so it gets there.
    shrink = np.minimum(1.0, _STEP_LIMIT / np.maximum(np.maximum(np.abs(down), np.abs(across)), 1e-300))
    return down * shrink, across * shrink


def _leverage(weight: FloatArray, x: FloatArray) -> FloatArray:
    a, b, c, determinant = (part[:, None] for part in _information(weight, x))
    return np.asarray(weight * (c - 2 * b * x + a * x * x) / determinant, dtype=np.float64)


def _lines(level: FloatArray, slope: FloatArray, mean: FloatArray, weight: FloatArray, x: FloatArray) -> Lines:
    a, b, _, determinant = _information(weight, x)
    influence = (a[:, None] * x - b[:, None]) / determinant[:, None]
    return Lines(level, slope, mean, a / determinant, influence)
