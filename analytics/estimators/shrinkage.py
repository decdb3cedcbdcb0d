"""Small groups drawn towards the common level, with intervals that include how little is known of the spread."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from analytics.estimators.arrays import FloatArray, as_counts, as_numbers, as_positive, tail
from analytics.estimators.interval import TooFew

GROUPS_NEEDED = 4
_PULLS = 80
_LEVELS = 41


@dataclass(frozen=True)
class Shrunk:
    """Hold each group's estimate before and after shrinking, with limits.

    raw, shrunk, lower, upper: (groups); kept: (groups) share of a group's distance from the common level that it
    keeps, 1 no shrinking; common: the level all are drawn towards.
    """

    raw: FloatArray
    shrunk: FloatArray
    lower: FloatArray
    upper: FloatArray
    kept: FloatArray
    common: float
    level: float
    method: str


def james_stein(values: npt.ArrayLike, variance: float, level: float = 0.95) -> Shrunk | TooFew:
    """Shrink values of one known variance towards their mean, from at least 4 groups.

    values: (groups), any unit; variance: of one value, that unit squared, more than zero. Raises ValueError.
    Method: Efron & Morris, J. Am. Stat. Assoc. 70 (1975) 311: positive-part factor 1 - (k - 3) variance / sum of
    squares about the mean; limits with the variance of Morris, J. Am. Stat. Assoc. 78 (1983) 47.
    """
    x = as_numbers("values", values)
    v = float(as_positive("variance", variance))
    k = len(x)
    if k < GROUPS_NEEDED:
        return TooFew("groups", k, GROUPS_NEEDED)
    common = float(np.mean(np.sort(x)))
    away = x - common
    squares = float(np.sum(np.sort(away**2)))
    pull = min((k - 3) * v / squares, 1.0) if squares > 0 else 1.0
    # Morris: error of the common level, and of the factor itself, which grows with the distance it is applied to.
    spread = v * (1 - pull * (k - 1) / k) + 2 / (k - 3) * pull**2 * away**2
    half = float(special.ndtri(1 - tail(level))) * np.sqrt(spread)
    shrunk = common + (1 - pull) * away
    kept = np.full(k, 1 - pull)
    return Shrunk(x, shrunk, shrunk - half, shrunk + half, kept, common, level, "James-Stein towards the mean")


def beta_binomial(failed: npt.ArrayLike, inspected: npt.ArrayLike, level: float = 0.95) -> Shrunk | TooFew:
    """Shrink the groups' proportions towards the common one, from at least 4 groups.

    failed, inspected: (groups) counts, inspected at least 1. Raises ValueError otherwise.
    Method: groups' proportions are beta distributed; level and spread of that distribution are averaged over their
    posterior on a grid (flat in the level and in the pull of a typical group), so that limits include the estimation
    of both (Christiansen & Morris, J. Am. Stat. Assoc. 92 (1997) 618, there for rates). Limits are quantiles of the
    beta with the posterior's mean and variance.
    """
    x, n = as_counts("failed", failed), as_positive("inspected", as_counts("inspected", inspected))
    if x.shape != n.shape or np.any(x > n):
        raise ValueError("failed must have the shape of inspected and not exceed it")
    if len(x) < GROUPS_NEEDED:
        return TooFew("groups", len(x), GROUPS_NEEDED)
    odds = np.log((x + 0.5) / (n - x + 0.5))
    centre = float(special.logit((x.sum() + 0.5) / (n.sum() + 1)))
    mean = special.expit(centre + _reach(odds, x.sum() * (1 - x.sum() / n.sum())))
    strength = np.broadcast_to(_strengths(_typical(n)), (_LEVELS, _PULLS))
    a, b = mean[:, None] * strength, (1 - mean[:, None]) * strength
    log_weight = -len(x) * special.betaln(a, b) + np.log(mean * (1 - mean))[:, None]
    for xi, ni in _in_order(x, n):
        log_weight += special.betaln(a + xi, b + ni - xi)
    first, second, kept, common = _moments(x, n, mean, strength, log_weight, bounded=True)
    shape = np.maximum(first * (1 - first) / np.maximum(second - first**2, 1e-15) - 1, 1e-6)
    lower, upper = (special.betaincinv(first * shape, (1 - first) * shape, q) for q in _ends(level))
    return Shrunk(x / n, first, lower, upper, kept, common, level, "beta-binomial, spread averaged over")


def gamma_poisson(count: npt.ArrayLike, exposure: npt.ArrayLike, level: float = 0.95) -> Shrunk | TooFew:
    """Shrink the groups' rates (or observed / expected) towards the common one, from at least 4 groups.

    count: (groups) events; exposure: (groups) more than zero, or expected counts. Raises ValueError otherwise.
    Method: groups' rates are gamma distributed; otherwise as `beta_binomial` (Christiansen & Morris 1997).
    """
    x, e = as_counts("count", count), as_positive("exposure", exposure)
    if x.shape != e.shape:
        raise ValueError("count must have the shape of exposure")
    if len(x) < GROUPS_NEEDED:
        return TooFew("groups", len(x), GROUPS_NEEDED)
    common_rate = (x.sum() + 0.5) / e.sum()
    mean = common_rate * np.exp(_reach(np.log((x + 0.5) / e), x.sum()))
    # Prior worth in events at the common rate, turned into exposure at each level.
    strength = _strengths(_typical(common_rate * e)) / mean[:, None]
    shape = mean[:, None] * strength
    log_weight = len(x) * (shape * np.log(strength) - special.gammaln(shape)) + np.log(mean)[:, None]
    for xi, ei in _in_order(x, e):
        log_weight += special.gammaln(shape + xi) - (shape + xi) * np.log(strength + ei)
    first, second, kept, common = _moments(x, e, mean, strength, log_weight, bounded=False)
    variance = np.maximum(second - first**2, 1e-300)
    lower, upper = (special.gammaincinv(first**2 / variance, q) * variance / first for q in _ends(level))
    return Shrunk(x / e, first, lower, upper, kept, common, level, "gamma-Poisson, spread averaged over")


def _reach(transformed: FloatArray, information: float) -> FloatArray:
    # Far enough either side for the level's posterior whatever the spread between groups.
    width = 1 / np.sqrt(information + 0.5) + float(np.std(np.sort(transformed))) / np.sqrt(len(transformed))
    return np.asarray(5 * width * np.linspace(-1, 1, _LEVELS), dtype=np.float64)


def _typical(size: FloatArray) -> float:
    return float(len(size) / np.sum(1 / np.sort(size)))


def _strengths(size: float) -> FloatArray:
    # Evenly spaced pulls s / (s + size) between 0 and 1 make the prior of the pull of a typical group flat.
    pull = (np.arange(_PULLS) + 0.5) / _PULLS
    return np.asarray(size * pull / (1 - pull), dtype=np.float64)


def _in_order(x: FloatArray, n: FloatArray) -> Iterator[tuple[float, float]]:
    order = np.lexsort((x, n))
    return zip(x[order].tolist(), n[order].tolist(), strict=True)


def _moments(
    x: FloatArray, n: FloatArray, mean: FloatArray, strength: FloatArray, log_weight: FloatArray, bounded: bool
) -> tuple[FloatArray, FloatArray, FloatArray, float]:
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    first, second, kept = np.empty(len(x)), np.empty(len(x)), np.empty(len(x))
    for row in range(len(x)):
        worth = strength + n[row]
        own = (mean[:, None] * strength + x[row]) / worth
        square = own * (own * worth + 1) / (worth + 1) if bounded else own**2 + own / worth
        first[row], second[row] = np.sum(weight * own), np.sum(weight * square)
        kept[row] = np.sum(weight * n[row] / worth)
    return first, second, kept, float(np.sum(weight * mean[:, None]))


def _ends(level: float) -> tuple[float, float]:
    return tail(level), 1 - tail(level)
