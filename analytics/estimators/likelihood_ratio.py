"""How far a clue moves the odds that a component is found failed."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from analytics.estimators.arrays import FloatArray, as_counts, tail


@dataclass(frozen=True)
class LikelihoodRatios:
    """Hold each clue's likelihood ratio with limits, and drawn towards 1 as far as few jobs ask for, each (clues).

    shrunk_lower, shrunk_upper: limits of the shrunk ratio; spread: standard deviation of the clues' true log ratios.
    """

    ratio: FloatArray
    lower: FloatArray
    upper: FloatArray
    shrunk: FloatArray
    shrunk_lower: FloatArray
    shrunk_upper: FloatArray
    spread: float
    level: float
    method: str


def likelihood_ratios(
    failed_with: npt.ArrayLike,
    failed: npt.ArrayLike,
    sound_with: npt.ArrayLike,
    sound: npt.ArrayLike,
    level: float = 0.95,
) -> LikelihoodRatios:
    """Compare how often each clue comes with the component failed and with it sound.

    failed_with, failed, sound_with, sound: (clues) jobs with the clue and jobs in all, component found failed or
    sound; in all at least 1. Raises ValueError otherwise.

    Method: ratio of the two shares, half a job added to each count; log limits (Simel, Samsa & Matchar, J. Clin.
    Epidemiol. 44 (1991) 763). Shrunk in the log towards 0 by normal means, the spread of the clues' true log ratios
    averaged over its posterior on a grid (flat beforehand).
    """
    a, n = as_counts("failed_with", failed_with), as_counts("failed", failed)
    c, m = as_counts("sound_with", sound_with), as_counts("sound", sound)
    if np.any((a > n) | (c > m) | (n == 0) | (m == 0)):
        raise ValueError("jobs with the clue must not exceed jobs in all, of which there must be some")
    log = np.log((a + 0.5) / (n + 0.5)) - np.log((c + 0.5) / (m + 0.5))
    variance = np.maximum(1 / (a + 0.5) - 1 / (n + 0.5) + 1 / (c + 0.5) - 1 / (m + 0.5), 1e-12)
    z = float(special.ndtri(1 - tail(level)))
    half = z * np.sqrt(variance)
    # A count that chance made small looks too uncertain by its own variance and is drawn in too far: judge the
    # variance by the ratio as shrunk, first by none.
    middle = np.zeros(len(log))
    for _ in range(3):
        middle, wide, spread = _shrink(log, _variance_at(np.exp(middle), a + c, n, m))
    wide = z * wide
    raw = [np.exp(end) for end in (log, log - half, log + half)]
    drawn = [np.exp(end) for end in (middle, middle - wide, middle + wide)]
    method = "likelihood ratio, log limits; shrunk towards 1"
    return LikelihoodRatios(raw[0], raw[1], raw[2], drawn[0], drawn[1], drawn[2], spread, level, method)


def _variance_at(ratio: FloatArray, with_clue: FloatArray, failed: FloatArray, sound: FloatArray) -> FloatArray:
    share = np.minimum((with_clue + 0.5) / (ratio * failed + sound), 0.98 / np.maximum(ratio, 1.0))
    in_failed = ratio * share
    return np.asarray((1 - in_failed) / (failed * in_failed) + (1 - share) / (sound * share), dtype=np.float64)


def _shrink(log: FloatArray, variance: FloatArray) -> tuple[FloatArray, FloatArray, float]:
    spreads, weight = _spreads(log, variance)
    kept = spreads**2 / (spreads**2 + variance[:, None])
    means = kept * log[:, None]
    middle = means @ weight
    error = np.sqrt(np.maximum((kept * variance[:, None] + means**2) @ weight - middle**2, 0.0))
    return middle, error, float(spreads @ weight)


def _spreads(log: FloatArray, variance: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give a grid of spreads between clues, flat beforehand, and their weights given the clues."""
    spreads = np.linspace(0.02, 3.0, 100)
    order = np.lexsort((variance, log))
    total = spreads**2 + variance[order, None]
    weight = -0.5 * np.sum(np.log(total) + log[order, None] ** 2 / total, axis=0)
    weight = np.exp(weight - weight.max())
    return spreads, weight / weight.sum()
