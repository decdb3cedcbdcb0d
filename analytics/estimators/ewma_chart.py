"""EWMA chart: an exponentially weighted mean of readings, also where they come at irregular times."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analytics.estimators.arrays import FloatArray, as_numbers, same_length


@dataclass(frozen=True)
class EwmaChart:
    """Hold the weighted mean after each reading with its own limits, all in the unit of the readings."""

    means: FloatArray
    lower: FloatArray
    upper: FloatArray
    weights: FloatArray
    beyond: tuple[int, ...]


def ewma_chart(
    readings: ArrayLike,
    centre: float,
    deviation: float,
    weight: float = 0.2,
    width: float = 3.0,
    times: ArrayLike | None = None,
    usual_gap: float | None = None,
    settled_limits: bool = False,
) -> EwmaChart:
    """Draw up the EWMA chart of readings around a known `centre` with known `deviation`.

    mean_i = w_i reading_i + (1 - w_i) mean_(i-1), from `centre`; limits are centre -+ `width` standard
    deviations of mean_i, exact from the first reading on (`settled_limits`: their final value throughout,
    equal weights only). With `times` (in order) the weight follows the gap: w_i = 1 - (1 - weight)^(gap /
    `usual_gap`), the usual gap being the median one unless given, so that old evidence fades with time,
    not with the number of readings. Raises ValueError for a weight outside (0, 1] or a deviation not above
    zero. Source: NIST/SEMATECH e-Handbook 6.3.2.4 (equal gaps); irregular gaps: own extension.
    """
    values = as_numbers("readings", readings)
    if not 0 < weight <= 1 or not deviation > 0:
        raise ValueError(f"expected a weight in (0, 1] and a deviation above zero, found {weight} and {deviation}")
    weights = _weights(values.size, weight, times, usual_gap)
    means, factors = np.empty(values.size), np.empty(values.size)
    mean, factor = centre, 0.0
    for place, (value, share) in enumerate(zip(values.tolist(), weights.tolist(), strict=True)):
        mean = share * value + (1 - share) * mean
        factor = share**2 + (1 - share) ** 2 * factor
        means[place], factors[place] = mean, factor
    if settled_limits:
        factors[:] = weight / (2 - weight)
    half = width * deviation * np.sqrt(factors)
    beyond = np.flatnonzero(np.abs(means - centre) > half)
    return EwmaChart(means, centre - half, centre + half, weights, tuple(int(place) for place in beyond))


def _weights(count: int, weight: float, times: ArrayLike | None, usual_gap: float | None) -> FloatArray:
    if times is None:
        return np.full(count, weight)
    clock = as_numbers("times", times)
    same_length(times=clock, readings=np.empty(count))
    gaps = np.diff(clock)
    if (gaps < 0).any():
        raise ValueError("expected times in order, found one before its forerunner")
    usual = usual_gap if usual_gap is not None else float(np.median(gaps)) if gaps.size else 1.0
    if not usual > 0:
        raise ValueError(f"expected a usual gap above zero, found {usual}")
    # Readings of one moment still count: their weight is that of a tenth of the usual gap at least.
    return 1 - (1 - weight) ** np.maximum(np.concatenate([[usual], gaps]) / usual, 0.1)
