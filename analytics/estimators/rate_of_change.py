"""Rate of change of monthly counts: by how much the use of a part, or a kind of fault, grows or falls a year."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from analytics.estimators.arrays import BoolArray, FloatArray, IntArray, as_amounts, as_counts, tail
from analytics.estimators.interval import TooFew
from analytics.estimators.straight_line_fit import Lines, log_linear

MONTHS_NEEDED = 12
EVENTS_NEEDED = 10
MONTHS_WITH_EVENTS_NEEDED = 3


@dataclass(frozen=True)
class RateOfChange:
    """Hold the relative change a year of each group with enough data (0.10: ten percent more each year), two-sided p.

    group: which rows of the counts these are; dispersion: variance of a month over its mean, at least 1.
    too_few: (row, statement) for each row without enough data.
    """

    group: IntArray
    change: FloatArray
    lower: FloatArray
    upper: FloatArray
    p_value: FloatArray
    dispersion: FloatArray
    too_few: tuple[tuple[int, TooFew], ...]
    level: float
    method: str


def rate_of_change(counts: npt.ArrayLike, exposure: npt.ArrayLike | None = None, level: float = 0.95) -> RateOfChange:
    """Estimate the relative change a year of monthly counts, for each group.

    counts: (groups, months) consecutive calendar months, oldest first, months without any given as 0; exposure:
    (months) or (groups, months) what the counts are in proportion to, such as jobs, 0 where there was none. Raises
    ValueError on other shapes, or counts in a month without exposure. Needs 12 months with exposure, 10 events and
    events in 3 different months; groups below that are listed in `too_few`.

    Method: log-linear mean, quasi-Poisson variance with dispersion at least 1 (Wedderburn, Biometrika 61 (1974)
    439), or the variance that allows for neighbouring months moving together where that is larger (Newey & West,
    Econometrica 55 (1987) 703); t quantile with months - 2 degrees of freedom.
    """
    y = np.atleast_2d(as_counts("counts", counts))
    e = np.ones_like(y) if exposure is None else np.broadcast_to(as_amounts("exposure", exposure), y.shape)
    if np.any((e == 0) & (y > 0)):
        raise ValueError("counts must be 0 in months without exposure")
    alpha, too_few = tail(level), _too_few(y, e)
    lacking = {row for row, _ in too_few}
    enough = np.array([row for row in range(len(y)) if row not in lacking], dtype=np.int64)
    y, e = y[enough], e[enough]
    years = (np.arange(y.shape[1]) - (y.shape[1] - 1) / 2) / 12
    scale = max(float(np.max(np.abs(years), initial=0.0)), 1.0)
    lines = log_linear(y, years / scale, e)
    freedom = (e > 0).sum(1) - 2.0
    dispersion, error = _error(lines, y, e > 0, freedom)
    half = special.stdtrit(freedom, 1 - alpha) * error
    change, lower, upper = (np.expm1(b / scale) for b in (lines.slope, lines.slope - half, lines.slope + half))
    p_value = 2 * special.stdtr(freedom, -np.abs(lines.slope) / error)
    method = "log-linear, quasi-Poisson, allowing for neighbouring months"
    return RateOfChange(enough, change, lower, upper, p_value, dispersion, too_few, level, method)


def _error(lines: Lines, y: FloatArray, observed: BoolArray, freedom: FloatArray) -> tuple[FloatArray, FloatArray]:
    residual = y - lines.mean
    pearson = np.where(observed, residual**2 / np.where(observed, lines.mean, 1.0), 0.0).sum(1)
    dispersion = np.maximum(pearson / freedom, 1.0)
    moved = lines.influence * residual
    months = y.shape[1]
    lags = int(4 * (months / 100) ** (2 / 9))
    together = (moved * moved).sum(1)
    for lag in range(1, lags + 1):
        together += 2 * (1 - lag / (lags + 1)) * (moved[:, lag:] * moved[:, :-lag]).sum(1)
    together *= (freedom + 2) / freedom
    return dispersion, np.sqrt(np.maximum(dispersion * lines.variance, together))


def _too_few(y: FloatArray, e: FloatArray) -> tuple[tuple[int, TooFew], ...]:
    lacking = []
    for row, (months, events, with_events) in enumerate(
        zip((e > 0).sum(1).tolist(), y.sum(1).tolist(), (y > 0).sum(1).tolist(), strict=True)
    ):
        if months < MONTHS_NEEDED:
            lacking.append((row, TooFew("months", months, MONTHS_NEEDED)))
        elif events < EVENTS_NEEDED:
            lacking.append((row, TooFew("events", int(events), EVENTS_NEEDED)))
        elif with_events < MONTHS_WITH_EVENTS_NEEDED:
            lacking.append((row, TooFew("months with events", with_events, MONTHS_WITH_EVENTS_NEEDED)))
    return tuple(lacking)
