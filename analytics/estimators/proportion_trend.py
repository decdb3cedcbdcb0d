"""Trend of a proportion by year: whether findings grow worse, and by how much."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from analytics.estimators.arrays import FloatArray, IntArray, as_counts, as_numbers, as_positive, tail
from analytics.estimators.interval import TooFew
from analytics.estimators.straight_line_fit import logistic

YEARS_NEEDED = 4
OUTCOMES_NEEDED = 5


@dataclass(frozen=True)
class ProportionTrend:
    """Hold the odds ratio a year of each group with enough data, with limits and a two-sided p value.

    group: which rows of the counts these are; dispersion: at least 1; too_few: (row, statement) for the others.
    """

    group: IntArray
    odds_ratio: FloatArray
    lower: FloatArray
    upper: FloatArray
    p_value: FloatArray
    dispersion: FloatArray
    too_few: tuple[tuple[int, TooFew], ...]
    level: float
    method: str


def proportion_trend(
    failed: npt.ArrayLike,
    inspected: npt.ArrayLike,
    year: npt.ArrayLike,
    design_effect: npt.ArrayLike | float = 1.0,
    level: float = 0.95,
) -> ProportionTrend:
    """Estimate by what factor the odds of failed against sound move a year, for each group.

    failed, inspected: (groups, years) counts, inspected 0 where nothing was; year: (years) numbers; design_effect:
    (groups) inspected / effective inspected, where a unit contributes several findings. Raises ValueError otherwise.
    Needs 4 years with inspections, 5 failed and 5 sound; groups below that are listed in `too_few`.

    Method: logistic line with Firth's correction. Limits: the wider of binomial variance times the design effect (at
    least 1) with the normal quantile, and Pearson's dispersion of the years about the line with the t quantile of
    years - 2 degrees of freedom.
    """
    x, n = np.atleast_2d(as_counts("failed", failed)), np.atleast_2d(as_counts("inspected", inspected))
    if x.shape != n.shape or np.any(x > n):
        raise ValueError("failed must have the shape of inspected and not exceed it")
    effect = np.broadcast_to(as_positive("design_effect", design_effect), len(x))
    when, alpha, too_few = as_numbers("year", year), tail(level), _too_few(x, n)
    lacking = {row for row, _ in too_few}
    enough = np.array([row for row in range(len(x)) if row not in lacking], dtype=np.int64)
    x, n, effect = x[enough], n[enough], effect[enough]
    scale = max(float(np.ptp(when)) / 2, 1.0)
    lines = logistic(x, n, (when - when.mean()) / scale)
    observed = n > 0
    spread = np.where(observed, lines.mean * (1 - lines.mean / np.where(observed, n, 1)), 1.0)
    freedom = observed.sum(1) - 2.0
    pearson = np.where(observed, (x - lines.mean) ** 2 / spread, 0.0).sum(1) / freedom
    known = np.sqrt(np.maximum(effect, 1.0) * lines.variance)
    seen = np.sqrt(np.maximum(pearson, 1e-12) * lines.variance)
    half = np.maximum(special.ndtri(1 - alpha) * known, special.stdtrit(freedom, 1 - alpha) * seen)
    ratio, lower, upper = (np.exp(b / scale) for b in (lines.slope, lines.slope - half, lines.slope + half))
    away = -np.abs(lines.slope)
    p_value = 2 * np.maximum(special.ndtr(away / known), special.stdtr(freedom, away / seen))
    dispersion = np.maximum(np.maximum(pearson, effect), 1.0)
    method = "logistic line by year, Firth, over-dispersed"
    return ProportionTrend(enough, ratio, lower, upper, p_value, dispersion, too_few, level, method)


def _too_few(x: FloatArray, n: FloatArray) -> tuple[tuple[int, TooFew], ...]:
    lacking = []
    for row in range(len(x)):
        years, bad, good = int((n[row] > 0).sum()), int(x[row].sum()), int((n[row] - x[row]).sum())
        if years < YEARS_NEEDED:
            lacking.append((row, TooFew("years with inspections", years, YEARS_NEEDED)))
        elif bad < OUTCOMES_NEEDED:
            lacking.append((row, TooFew("found failed", bad, OUTCOMES_NEEDED)))
        elif good < OUTCOMES_NEEDED:
            lacking.append((row, TooFew("found sound", good, OUTCOMES_NEEDED)))
    return tuple(lacking)
