"""A straight line of measured wear over distance, several measurements of one unit allowed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtrit

from analytics.estimators.life_observations import TooFewToSay

FEWEST_UNITS = 10


@dataclass(frozen=True)
class WearLine:
    """Hold the line: value at distance nought, slope a unit of distance with limits of the level, units, readings."""

    at_new: float
    slope: float
    lower: float
    upper: float
    units: int
    readings: int


def wear_line(distance: ArrayLike, value: ArrayLike, unit: ArrayLike, level: float = 0.9) -> WearLine | TooFewToSay:
    """Fit value = at_new + slope x distance by least squares.

    Shapes: distance, value and unit (whole numbers), one value a reading. Limits: sandwich variance with scores summed
    by unit, times units / (units - 1), Student's t with units - 2 degrees of freedom. Source: Liang & Zeger 1986,
    Biometrika 73; MacKinnon & White 1985.
    """
    x, y = np.array(distance, dtype=float, ndmin=1), np.array(value, dtype=float, ndmin=1)
    labels, place = np.unique(np.asarray(unit), return_inverse=True)
    if len(labels) < FEWEST_UNITS:
        return TooFewToSay(f"a line needs readings of {FEWEST_UNITS} units", len(y), len(labels))
    order = np.lexsort((y, x, place))
    x, y, place = x[order], y[order], place[order]
    centred = x - x.mean()
    spread = float(centred @ centred)
    if spread <= 0:
        return TooFewToSay("every reading was taken at one distance", len(y), len(labels))
    slope = float(centred @ y) / spread
    at_new = float(y.mean() - slope * x.mean())
    score = np.bincount(place, weights=centred * (y - at_new - slope * x), minlength=len(labels))
    error = float(np.sqrt((score**2).sum() * len(labels) / (len(labels) - 1))) / spread
    half = float(stdtrit(len(labels) - 2, 0.5 + level / 2)) * error
    return WearLine(at_new, slope, slope - half, slope + half, len(labels), len(y))
