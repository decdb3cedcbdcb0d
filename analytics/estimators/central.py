"""Mean, median and mean absolute value of readings, with intervals that allow for several readings of one unit."""

import numpy as np
import numpy.typing as npt
from scipy import special

from analytics.estimators.arrays import FloatArray, IntArray, as_codes, as_numbers, same_length, tail
from analytics.estimators.interval import Interval, TooFew

UNITS_NEEDED = 3


def mean(values: npt.ArrayLike, unit: npt.ArrayLike | None = None, level: float = 0.95) -> Interval | TooFew:
    """Estimate the mean, from at least 3 units.

    values: (readings) any unit of measure; unit: (readings) codes of the units they come from, each reading a unit of
    its own if left out. Raises ValueError on readings that are not finite.
    Method: t interval with units - 1 degrees of freedom, variance between units (linearised); with one reading a
    unit it is Student's.
    """
    x, code = _readings(values, unit)
    units = int(code.max(initial=-1)) + 1
    if units < UNITS_NEEDED:
        return TooFew("units", units, UNITS_NEEDED)
    middle, alpha = float(np.mean(x)), tail(level)
    half = float(special.stdtrit(units - 1, 1 - alpha)) * _error_of_mean(x - middle, code, units)
    return Interval(middle, middle - half, middle + half, len(x), units, level, "mean, t by unit")


def mean_absolute(values: npt.ArrayLike, unit: npt.ArrayLike | None = None, level: float = 0.95) -> Interval | TooFew:
    """Estimate the mean of the absolute values, from at least 3 units; arguments and method as `mean`.

    The lower limit is not below 0.
    """
    found = mean(np.abs(as_numbers("values", values)), unit, level)
    if isinstance(found, TooFew):
        return found
    return Interval(
        found.estimate,
        max(found.lower, 0.0),
        found.upper,
        found.observations,
        found.units,
        level,
        "mean absolute, t by unit",
    )


def median(values: npt.ArrayLike, unit: npt.ArrayLike | None = None, level: float = 0.95) -> Interval | TooFew:
    """Estimate the median with distribution-free limits, from as many units as those limits need (6 at 95 %).

    Arguments as `mean`. Raises ValueError on readings that are not finite.
    Method: the limits are the order statistics whose exact binomial coverage is at least `level` (Conover, Practical
    Nonparametric Statistics, 1999, section 3.2). Where units give several readings, the ranks are those of the
    effective number of readings (variance between units of the share below the median, as `cluster_wilson`), taken
    outwards (Woodruff, J. Am. Stat. Assoc. 47 (1952) 635).
    """
    x, code = _readings(values, unit)
    units, alpha = int(code.max(initial=-1)) + 1, tail(level)
    # The widest limits, smallest and largest reading, miss the median with twice .5^n.
    needed = int(np.ceil(-np.log2(alpha)))
    if units < needed:
        return TooFew("units", units, needed)
    ordered, middle, n = np.sort(x), float(np.median(x)), len(x)
    worth = n if units == n else max(int(_effective(x, middle, code, units, alpha)), needed)
    rank = int(np.ceil(special.bdtrik(alpha, worth, 0.5)))  # the binomial quantile, which rounding may put one above
    rank -= int(rank > 0 and special.bdtr(rank - 1, worth, 0.5) >= alpha)
    # Ranks of the effective sample, carried over to the real one; both are 1-based and symmetric.
    low = max(int(np.floor(rank * (n + 1) / (worth + 1) + 1e-9)), 1)
    return Interval(
        middle, float(ordered[low - 1]), float(ordered[n - low]), n, units, level, "median, order statistics by unit"
    )


def _readings(values: npt.ArrayLike, unit: npt.ArrayLike | None) -> tuple[FloatArray, IntArray]:
    x = as_numbers("values", values)
    code = np.arange(len(x)) if unit is None else np.unique(as_codes("unit", unit), return_inverse=True)[1]
    same_length(values=x, unit=code)
    # A fixed order keeps floating sums the same whatever the order of the rows.
    order = np.lexsort((code, x))
    return x[order], code[order]


def _error_of_mean(residual: FloatArray, code: IntArray, units: int) -> float:
    sums = np.sort(np.bincount(code, weights=residual, minlength=units))
    return float(np.sqrt(units / (units - 1) * np.sum(sums**2)) / len(residual))


def _effective(x: FloatArray, middle: float, code: IntArray, units: int, alpha: float) -> float:
    # Ties at the median count half, so that the share below it is one half.
    below = np.where(x < middle, 1.0, np.where(x == middle, 0.5, 0.0))
    away, n = below - below.mean(), len(x)
    alone = float(np.sum(away**2)) / (n - 1) / n
    together = _error_of_mean(away, code, units) ** 2
    divided = n * min(alone / together, 1.0) if together > 0 else float(units)
    allowance = (special.stdtrit(n - 1, 1 - alpha) / special.stdtrit(units - 1, 1 - alpha)) ** 2
    return float(max(divided * allowance, min(divided, units)))
