"""Individuals and moving-range chart: one reading a job, in order."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analytics.estimators.arrays import FloatArray, as_numbers
from analytics.estimators.interval import TooFew

D2 = 1.128
"""Tabulated mean range of two normal readings, to the digits the handbook charts use."""
D4 = 3.267
"""Tabulated factor of the upper limit of a range of two."""


@dataclass(frozen=True)
class IndividualsChart:
    """Hold the lines of the chart in the unit of the readings, and the positions beyond them.

    `moving_ranges[i]` lies between readings i and i + 1. `beyond` are positions of readings outside the
    limits, `jumps` positions (of the later reading) whose moving range is above its limit.
    """

    readings: FloatArray
    centre: float
    lower: float
    upper: float
    moving_ranges: FloatArray
    mean_moving_range: float
    moving_range_upper: float
    deviation: float
    baseline: int
    beyond: tuple[int, ...]
    jumps: tuple[int, ...]


def individuals_chart(readings: ArrayLike, baseline: int | None = None, minimum: int = 8) -> IndividualsChart | TooFew:
    """Draw up the individuals chart of readings in time order.

    Centre = mean, limits = mean -+ 3 (mean moving range) / 1.128, moving-range limit 3.267 (mean moving
    range), from the first `baseline` readings (all by default). Gives TooFew below `minimum`
    baseline readings; raises ValueError for a missing reading.
    Source: NIST/SEMATECH e-Handbook 6.3.2.2.
    """
    values = as_numbers("readings", readings)
    learned = values.size if baseline is None else min(baseline, values.size)
    if learned < minimum:
        return TooFew("readings", learned, minimum)
    ranges = np.abs(np.diff(values))
    mean_range = float(ranges[: learned - 1].mean())
    centre = float(values[:learned].mean())
    half = 3 * mean_range / D2
    range_upper = D4 * mean_range
    return IndividualsChart(
        readings=values,
        centre=centre,
        lower=centre - half,
        upper=centre + half,
        moving_ranges=ranges,
        mean_moving_range=mean_range,
        moving_range_upper=range_upper,
        deviation=mean_range / D2,
        baseline=learned,
        beyond=tuple(int(i) for i in np.flatnonzero(np.abs(values - centre) > half)),
        jumps=tuple(int(i) + 1 for i in np.flatnonzero(ranges > range_upper)),
    )
