"""Whether stated probabilities come true, and how much better they are than plain frequencies."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from analytics.estimators.arrays import FloatArray, IntArray, as_codes, as_counts, as_numbers, same_length, tail
from analytics.estimators.interval import Interval, TooFew
from analytics.estimators.proportion import wilson

OUTCOMES_NEEDED = 10
UNITS_NEEDED = 10
_STEPS = 100


@dataclass(frozen=True)
class Reliability:
    """Hold, for bands of stated probability with about equally many cases, what was stated and what happened."""

    cases: FloatArray
    stated: FloatArray
    happened: FloatArray
    lower: FloatArray
    upper: FloatArray


def calibration_slope(
    failed: npt.ArrayLike, stated: npt.ArrayLike, unit: npt.ArrayLike | None = None, level: float = 0.95
) -> Interval | TooFew:
    """Estimate the slope of what happened on what was stated, both in log odds: 1 is right, below 1 overstated.

    failed: (cases) 0 or 1; stated: (cases) strictly between 0 and 1; unit: codes of the units the cases are of. Needs
    10 failed, 10 sound and 10 units. Raises ValueError otherwise, or where all were stated alike.
    Method: Cox, Biometrika 45 (1958) 562; sandwich variance by unit, t quantile with units - 1 degrees of freedom.
    """
    y, p, code, _ = _cases(failed, stated, unit, stated)
    lacking = _too_few(y, code)
    if lacking is not None:
        return lacking
    x = special.logit(p)
    if np.ptp(x) < 1e-9:
        raise ValueError("stated must differ between cases for a slope")
    line, share = _line(x, y)
    design = np.column_stack([np.ones(len(x)), x])
    inverse = np.linalg.inv((design.T * (share * (1 - share))) @ design)
    units = int(code.max()) + 1
    moved = np.stack([np.bincount(code, weights=column * (y - share)) for column in design.T], axis=1)
    spread = inverse @ (moved.T @ moved) @ inverse * units / (units - 1)
    half = float(special.stdtrit(units - 1, 1 - tail(level)) * np.sqrt(spread[1, 1]))
    slope = float(line[1])
    return Interval(slope, slope - half, slope + half, len(y), units, level, "calibration slope, sandwich by unit")


def brier_skill(
    failed: npt.ArrayLike,
    stated: npt.ArrayLike,
    reference: npt.ArrayLike,
    unit: npt.ArrayLike | None = None,
    level: float = 0.95,
) -> Interval | TooFew:
    """Estimate by what share stated probabilities err less, in mean square, than reference ones: 0 no better, 1 right.

    failed: (cases) 0 or 1; stated, reference: (cases) 0 .. 1; unit as `calibration_slope`, whose needs are the same.
    Raises ValueError otherwise, or where the reference never errs.
    Method: 1 - ratio of the mean squared errors on the same cases (Brier 1950; Murphy 1973), variance between units
    of the ratio linearised, t quantile with units - 1 degrees of freedom.
    """
    y, p, code, q = _cases(failed, stated, unit, reference)
    if np.any((q < 0) | (q > 1)):
        raise ValueError("reference must lie in 0 .. 1")
    lacking = _too_few(y, code)
    if lacking is not None:
        return lacking
    ours, theirs = (y - p) ** 2, (y - q) ** 2
    base = float(np.sum(theirs))
    if base == 0:
        raise ValueError("the reference never errs: there is nothing to be better than")
    ratio, units = float(np.sum(ours)) / base, int(code.max()) + 1
    moved = np.bincount(code, weights=ours - ratio * theirs)
    error = np.sqrt(units / (units - 1) * np.sum(moved**2)) / base
    half = float(special.stdtrit(units - 1, 1 - tail(level)) * error)
    skill = 1 - ratio
    return Interval(skill, skill - half, skill + half, len(y), units, level, "Brier skill, linearised by unit")


def reliability(failed: npt.ArrayLike, stated: npt.ArrayLike, bands: int = 10, level: float = 0.95) -> Reliability:
    """Give what was stated and what happened in bands of about equally many cases, with Wilson limits.

    failed: (cases) 0 or 1; stated: (cases) 0 .. 1; cases stated alike stay in one band. Raises ValueError otherwise.
    """
    y, p, _, _ = _cases(failed, stated, None, stated)
    cuts = np.unique(np.quantile(p, np.linspace(0, 1, bands + 1)[1:-1], method="inverted_cdf"))
    band = np.searchsorted(cuts, p, side="left")
    kinds, band = np.unique(band, return_inverse=True)
    cases = np.bincount(band, minlength=len(kinds)).astype(np.float64)
    found = wilson(np.bincount(band, weights=y), cases, level)
    return Reliability(cases, np.bincount(band, weights=p) / cases, found.estimate, found.lower, found.upper)


def _cases(
    failed: npt.ArrayLike, stated: npt.ArrayLike, unit: npt.ArrayLike | None, reference: npt.ArrayLike
) -> tuple[FloatArray, FloatArray, IntArray, FloatArray]:
    y, p, q = as_counts("failed", failed), as_numbers("stated", stated), as_numbers("reference", reference)
    same_length(failed=y, stated=p, reference=q)
    if np.any(y > 1) or np.any((p < 0) | (p > 1)):
        raise ValueError("failed must be 0 or 1 and stated lie in 0 .. 1")
    alone = np.arange(len(y))
    code = alone if unit is None else np.unique(as_codes("unit", unit), return_inverse=True)[1]
    same_length(failed=y, unit=code)
    # A fixed order keeps floating sums the same whatever the order of the rows.
    order = np.lexsort((y, p, q) if unit is None else (y, p, q, code))
    return y[order], p[order], alone if unit is None else code[order], q[order]


def _too_few(y: FloatArray, code: IntArray) -> TooFew | None:
    counted = (
        ("found failed", int(y.sum()), OUTCOMES_NEEDED),
        ("found sound", int((1 - y).sum()), OUTCOMES_NEEDED),
        ("units", int(code.max(initial=-1)) + 1, UNITS_NEEDED),
    )
    return next((TooFew(*one) for one in counted if one[1] < one[2]), None)


def _line(x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    if np.any(~np.isfinite(x)):
        raise ValueError("stated must lie strictly between 0 and 1 for a slope")
    apart = x[y == 1].min() >= x[y == 0].max() or x[y == 0].min() >= x[y == 1].max()
    if apart:
        raise ValueError("no slope fits: what was stated parts failed from sound without exception")
    design, beta = np.column_stack([np.ones(len(x)), x]), np.array([0.0, 1.0])
    for _ in range(_STEPS):
        share = special.expit(design @ beta)
        step = np.linalg.solve((design.T * (share * (1 - share))) @ design, design.T @ (y - share))
        beta = beta + step * min(1.0, 2.0 / max(float(np.max(np.abs(step))), 1e-300))
        if np.max(np.abs(step)) < 1e-10:
            return beta, special.expit(design @ beta)
    raise ValueError(f"the slope did not settle in {_STEPS} steps")
