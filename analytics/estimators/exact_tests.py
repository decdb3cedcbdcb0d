"""Association of two yes-or-no marks, in one table or over strata, exactly and by Mantel and Haenszel."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import optimize, special

from analytics.estimators.arrays import FloatArray, as_counts, tail
from analytics.estimators.interval import TooFew

_FARTHEST = 60.0  # log odds ratio beyond which limits are called 0 or infinity


@dataclass(frozen=True)
class OddsRatio:
    """Hold a common odds ratio with limits and a two-sided p value of no association.

    estimate and limits may be 0 or infinity, where the records allow no other. strata: those that bear on it.
    """

    estimate: float
    lower: float
    upper: float
    p_value: float
    strata: int
    level: float
    method: str


def exact_odds_ratio(tables: npt.ArrayLike, level: float = 0.95) -> OddsRatio | TooFew:
    """Estimate the odds ratio common to all strata, given the margins of each; one stratum is Fisher's exact test.

    tables: (2, 2) or (strata, 2, 2) counts [[with the mark: bad, good], [without: bad, good]]. Raises ValueError on
    other shapes. TooFew where no stratum has both marks and both outcomes.

    Method: conditional maximum likelihood; limits leave each tail its exact probability (Cornfield, Proc. 3rd
    Berkeley Symp. 4 (1956) 135; Mehta, Patel & Gray, J. Am. Stat. Assoc. 80 (1985) 969); p value: the probability of
    all sums as unlikely as the one seen or more so (Fisher; Freeman & Halton).
    """
    informative = _informative(tables)
    if len(informative) == 0:
        return TooFew("strata with both marks and both outcomes", 0, 1)
    support, log_weight = _conditional(informative)
    seen, alpha = float(informative[:, 0, 0].sum()), tail(level)

    def weights(log_ratio: float) -> FloatArray:
        tilted = log_weight + log_ratio * support
        return np.asarray(np.exp(tilted - tilted.max()), dtype=np.float64)

    def share(log_ratio: float, kept: npt.NDArray[np.bool_]) -> float:
        weight = weights(log_ratio)
        return float(weight[kept].sum() / weight.sum())

    def mean(log_ratio: float) -> float:
        weight = weights(log_ratio)
        return float(weight @ support / weight.sum())

    least, most = seen == support[0], seen == support[-1]
    at_least, at_most = support >= seen, support <= seen
    lower = 0.0 if least else _solve(lambda b: share(b, at_least) - alpha)
    upper = np.inf if most else _solve(lambda b: alpha - share(b, at_most))
    estimate = 0.0 if least else np.inf if most else _solve(lambda b: mean(b) - seen)
    null = special.softmax(log_weight)
    p_value = min(float(null[null <= null[support == seen][0] * (1 + 1e-7)].sum()), 1.0)
    method = "exact conditional odds ratio" + (f" over {len(informative)} strata" if len(informative) > 1 else "")
    return OddsRatio(estimate, lower, upper, p_value, len(informative), level, method)


def mantel_haenszel(tables: npt.ArrayLike, level: float = 0.95) -> OddsRatio | TooFew:
    """Estimate the odds ratio common to all strata by weighting, for counts too large for the exact one.

    tables: as `exact_odds_ratio`. TooFew where bad with the mark and good without never meet in a stratum, or the
    other two never do, since the ratio then has no limits.

    Method: Mantel & Haenszel, J. Natl. Cancer Inst. 22 (1959) 719; limits from Robins, Breslow & Greenland,
    Biometrics 42 (1986) 311; p value of the Cochran-Mantel-Haenszel test without continuity correction.
    """
    t = _informative(tables)
    if len(t) == 0:
        return TooFew("strata with both marks and both outcomes", 0, 1)
    n = t.sum((1, 2))
    a, b, c, d = t[:, 0, 0], t[:, 0, 1], t[:, 1, 0], t[:, 1, 1]
    for_, against = a * d / n, b * c / n
    r, s = float(for_.sum()), float(against.sum())
    if r == 0 or s == 0:
        crossing = int(np.sum(for_ > 0)) if r == 0 else int(np.sum(against > 0))
        return TooFew(
            "strata that speak against the association" if s == 0 else "strata that speak for it", crossing, 1
        )
    agree, differ = (a + d) / n, (b + c) / n
    spread = np.sum(agree * for_) / (2 * r * r) + np.sum(differ * against) / (2 * s * s)
    spread += np.sum(agree * against + differ * for_) / (2 * r * s)
    expected = (a + b) * (a + c) / n
    variance = (a + b) * (c + d) * (a + c) * (b + d) / (n * n * np.maximum(n - 1, 1))
    p_value = float(special.chdtrc(1, np.sum(a - expected) ** 2 / np.sum(variance)))
    ratio, half = r / s, float(special.ndtri(1 - tail(level)) * np.sqrt(spread))
    lower, upper = float(ratio * np.exp(-half)), float(ratio * np.exp(half))
    return OddsRatio(ratio, lower, upper, p_value, len(t), level, "Mantel-Haenszel")


def _informative(tables: npt.ArrayLike) -> FloatArray:
    t = as_counts("tables", tables)
    t = t[None] if t.ndim == 2 else t
    if t.ndim != 3 or t.shape[1:] != (2, 2):
        raise ValueError(f"tables must have shape (2, 2) or (strata, 2, 2), found {np.shape(tables)}")
    return np.asarray(t[(t.sum(1) > 0).all(1) & (t.sum(2) > 0).all(1)], dtype=np.float64)


def _conditional(t: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give the support of the summed count and its log weights at odds ratio 1, by convolving the strata."""
    n = t.sum((1, 2))
    marked, bad = t[:, 0].sum(1), t[:, :, 0].sum(1)
    # Convolving at a tilt near the truth keeps the weights that matter from underflowing.
    tilt = float(np.log((np.sum(t[:, 0, 0] * t[:, 1, 1] / n) + 0.5) / (np.sum(t[:, 0, 1] * t[:, 1, 0] / n) + 0.5)))
    start, weights = 0.0, np.ones(1)
    for row in range(len(t)):
        low, high = max(0.0, marked[row] + bad[row] - n[row]), min(marked[row], bad[row])
        values = np.arange(low, high + 1)
        log_weight = _log_hypergeometric(values, n[row], bad[row], marked[row]) + tilt * values
        weights = np.convolve(weights, special.softmax(log_weight))
        start += low
    kept = weights > 0
    support = np.asarray(start + np.flatnonzero(kept), dtype=np.float64)
    return support, np.asarray(np.log(weights[kept]) - tilt * support, dtype=np.float64)


def _log_hypergeometric(values: FloatArray, total: float, bad: float, drawn: float) -> FloatArray:
    """Give the log chance of so many bad ones among those drawn."""
    sound = total - bad
    ways = special.betaln(bad + 1, 1) + special.betaln(sound + 1, 1) + special.betaln(total - drawn + 1, drawn + 1)
    chosen = special.betaln(values + 1, bad - values + 1) + special.betaln(
        drawn - values + 1, sound - drawn + values + 1
    )
    return np.asarray(ways - chosen - special.betaln(total + 1, 1), dtype=np.float64)


def _solve(rising: Callable[[float], float]) -> float:
    return float(np.exp(optimize.brentq(rising, -_FARTHEST, _FARTHEST, xtol=1e-12)))
