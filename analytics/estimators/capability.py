"""Capability: how a spread of readings sits between its limits."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, special

from analytics.estimators.arrays import FloatArray, as_numbers, tail
from analytics.estimators.interval import Interval, TooFew
from analytics.estimators.proportion import clopper_pearson

MOVING_RANGE_D2 = 2.0 / np.sqrt(np.pi)
"""Expected range of two normal readings in standard deviations."""


@dataclass(frozen=True)
class Indices:
    """Hold the four ratios of limits to spread; those that need a missing limit are None."""

    both: float | None
    upper: float | None
    lower: float | None
    nearest: float


@dataclass(frozen=True)
class Capability:
    """Hold capability (C: short-term spread) and performance (P: overall spread) of one set of readings.

    Ratios are dimensionless; `mean` and the deviations carry the unit of the readings. A ratio that needs
    a limit that is not set is None.
    """

    count: int
    mean: float
    deviation_within: float
    degrees_within: float
    deviation_overall: float
    cp: Interval | None
    cpu: Interval | None
    cpl: Interval | None
    cpk: Interval
    pp: Interval | None
    ppu: Interval | None
    ppl: Interval | None
    ppk: Interval
    share_outside_normal: Interval
    outside: int
    share_outside_observed: Interval
    method_within: str


def capability_indices(mean: float, deviation: float, lower: float | None, upper: float | None) -> Indices:
    """Compute capability ratios from a mean and a standard deviation in the unit of the limits.

    Cp = (U - L) / 6s, Cpu = (U - mean) / 3s, Cpl = (mean - L) / 3s, Cpk the smaller of the two.
    Raises ValueError without a limit, with limits in the wrong order, or without spread.
    Source: NIST/SEMATECH e-Handbook 6.1.6.
    """
    _check_limits(lower, upper)
    if not deviation > 0:
        raise ValueError(f"expected a spread above zero, found {deviation}: the readings compared are all the same")
    above = None if upper is None else (upper - mean) / (3 * deviation)
    below = None if lower is None else (mean - lower) / (3 * deviation)
    both = None if lower is None or upper is None else (upper - lower) / (6 * deviation)
    return Indices(both, above, below, min(ratio for ratio in (above, below) if ratio is not None))


def capability(
    readings: ArrayLike,
    lower: float | None = None,
    upper: float | None = None,
    groups: Sequence[object] | None = None,
    level: float = 0.95,
    minimum: int = 10,
) -> Capability | TooFew:
    """Interval Cp, Cpk, Pp, Ppk and the share outside limits, each with an interval.

    `readings` are in time order, in the unit of the limits; `groups` (same length) names the subgroup of
    each (a job, a set-up): the short-term spread is then pooled within groups, else it is the mean moving
    range / 1.128 with its matched degrees of freedom (Cryer & Ryan 1990). Either limit may be None.
    Intervals: Cp, Pp chi-square; one-sided ratios exact through the noncentral t; Cpk, Ppk with two limits
    Bissell (1990), with one limit the exact one; share beyond limits generalised pivot (see
    `normal_share_outside`) beside the counted share with Clopper-Pearson limits.
    Gives TooFew below `minimum` readings; raises ValueError without spread or with non-finite readings.
    Readings that were accepted only when inside limits are truncated: their capability flatters.
    """
    values = as_numbers("readings", readings)
    tail(level)
    _check_limits(lower, upper)
    if values.size < minimum:
        return TooFew("readings", values.size, minimum)
    spread = _within_deviation(values, groups)
    if isinstance(spread, TooFew):
        return spread
    within, degrees, method = spread
    count = values.size
    mean = float(np.sort(values).mean())
    overall = float(np.sort(values).std(ddof=1))
    short = capability_indices(mean, within, lower, upper)
    long = capability_indices(mean, overall, lower, upper)
    outside = _count_outside(values, lower, upper)
    return Capability(
        count=count,
        mean=mean,
        deviation_within=within,
        degrees_within=degrees,
        deviation_overall=overall,
        cp=None if short.both is None else _ratio_interval(short.both, count, degrees, level),
        cpu=None if short.upper is None else _one_sided_interval(short.upper, count, degrees, level),
        cpl=None if short.lower is None else _one_sided_interval(short.lower, count, degrees, level),
        cpk=_nearest_interval(short, count, degrees, level),
        pp=None if long.both is None else _ratio_interval(long.both, count, count - 1, level),
        ppu=None if long.upper is None else _one_sided_interval(long.upper, count, count - 1, level),
        ppl=None if long.lower is None else _one_sided_interval(long.lower, count, count - 1, level),
        ppk=_nearest_interval(long, count, count - 1, level),
        share_outside_normal=normal_share_outside(mean, overall, count, lower, upper, level),
        outside=outside,
        share_outside_observed=_counted_share(outside, count, level),
        method_within=method,
    )


def normal_share_outside(
    mean: float, deviation: float, count: int, lower: float | None, upper: float | None, level: float = 0.95
) -> Interval:
    """Interval the share of a normal population beyond the limits from a sample mean and deviation.

    The interval is the generalised pivotal one (Weerahandi 1993): mean and deviation are drawn from their
    fiducial distribution on a fixed 201 by 201 grid of quantiles, so that it needs no random numbers.
    """
    _check_limits(lower, upper)
    side = tail(level)
    quantiles = (np.arange(201) + 0.5) / 201
    deviations = deviation * np.sqrt((count - 1) / (2 * special.gammaincinv((count - 1) / 2, quantiles)))
    shifts = special.ndtri(quantiles) / np.sqrt(count)
    means = mean + shifts[:, None] * deviations[None, :]
    shares = _normal_tails(means, deviations[None, :], lower, upper)
    low, high = np.quantile(shares, [side, 1 - side])
    value = float(_normal_tails(np.array(mean), np.array(deviation), lower, upper))
    method = "normal tails, generalised pivotal interval"
    return Interval(value, min(float(low), value), max(float(high), value), count, count, level, method)


def moving_range_degrees(count: int) -> float:
    """Match degrees of freedom to the mean moving range of `count` readings.

    Its exact variance follows from the covariance of neighbouring ranges; the chi distribution with the
    same coefficient of variation gives the degrees of freedom (about 0.6 (n - 1); Cryer & Ryan 1990).
    """
    ranges = count - 1
    variance = 2 - 4 / np.pi
    neighbours = 4 / np.pi * (np.sqrt(0.75) + np.pi / 12) - 4 / np.pi
    mean_variance = (ranges * variance + 2 * (ranges - 1) * neighbours) / ranges**2
    relative = mean_variance / MOVING_RANGE_D2**2
    return float(optimize.brentq(lambda nu: 1 / _unbiasing(nu) ** 2 - 1 - relative, 0.5, 2.0 * count))


def _within_deviation(values: FloatArray, groups: Sequence[object] | None) -> tuple[float, float, str] | TooFew:
    if groups is None:
        degrees = moving_range_degrees(values.size)
        unbiased = float(np.abs(np.diff(values)).mean() / MOVING_RANGE_D2)
        return unbiased, degrees, "mean moving range / 1.128"
    if len(groups) != values.size:
        raise ValueError(f"expected one group a reading, found {len(groups)} for {values.size}")
    _, codes = np.unique(np.asarray(groups), return_inverse=True)
    order = np.lexsort((values, codes))
    sorted_values, sorted_codes = values[order], codes[order]
    counts = np.bincount(sorted_codes)
    centres = np.bincount(sorted_codes, sorted_values) / counts
    degrees = int((counts - 1).sum())
    if degrees < 2:
        return TooFew("repeats within groups", degrees, 2)
    squares = float(((sorted_values - centres[sorted_codes]) ** 2).sum())
    return float(np.sqrt(squares / degrees)), float(degrees), "pooled within groups"


def _unbiasing(degrees: float) -> float:
    return float(np.sqrt(2 / degrees) * np.exp(special.gammaln((degrees + 1) / 2) - special.gammaln(degrees / 2)))


def _counted_share(outside: int, count: int, level: float) -> Interval:
    found = clopper_pearson([outside], [count], level)
    return Interval(outside / count, float(found.lower[0]), float(found.upper[0]), count, count, level, found.method)


def _ratio_interval(ratio: float, count: int, degrees: float, level: float) -> Interval:
    side = tail(level)
    low, high = np.sqrt(2 * special.gammaincinv(degrees / 2, [side, 1 - side]) / degrees)
    return Interval(ratio, float(ratio * low), float(ratio * high), count, count, level, "chi-square")


@lru_cache(maxsize=1)
def _quadrature() -> tuple[FloatArray, FloatArray]:
    nodes, weights = np.polynomial.legendre.leggauss(300)
    return nodes, weights


def _one_sided_interval(ratio: float, count: int, degrees: float, level: float) -> Interval:
    side = tail(level)
    scale = 3 * np.sqrt(count)
    start = scale * ratio
    nodes, weights = _quadrature()
    factors = np.sqrt(2 * special.gammaincinv(degrees / 2, (nodes + 1) / 2) / degrees)

    def bound(probability: float) -> float:
        # P(noncentral t <= start), integrated over the chi factor: stable where library routines overflow.
        reach = 12 * np.sqrt(1 + start**2 / min(degrees, 4))
        root = optimize.brentq(
            lambda shift: (special.ndtr(start * factors - shift) * weights).sum() / 2 - probability,
            start - reach,
            start + reach,
        )
        return float(root / scale)

    low, high = bound(1 - side), bound(side)
    return Interval(ratio, low, high, count, count, level, "noncentral t")


def _nearest_interval(indices: Indices, count: int, degrees: float, level: float) -> Interval:
    ratio = indices.nearest
    if indices.both is None:
        return _one_sided_interval(ratio, count, degrees, level)
    half = float(-special.ndtri(tail(level)) * np.sqrt(1 / (9 * count) + ratio**2 / (2 * degrees)))
    return Interval(ratio, ratio - half, ratio + half, count, count, level, "Bissell 1990")


def _normal_tails(means: FloatArray, deviations: FloatArray, lower: float | None, upper: float | None) -> FloatArray:
    share = np.zeros(np.broadcast_shapes(means.shape, deviations.shape))
    if lower is not None:
        share = share + special.ndtr((lower - means) / deviations)
    if upper is not None:
        share = share + special.ndtr((means - upper) / deviations)
    return share


def _count_outside(values: FloatArray, lower: float | None, upper: float | None) -> int:
    below = 0 if lower is None else int((values < lower).sum())
    above = 0 if upper is None else int((values > upper).sum())
    return below + above


def _check_limits(lower: float | None, upper: float | None) -> None:
    if lower is None and upper is None:
        raise ValueError("expected a lower or an upper limit, found neither")
    if lower is not None and upper is not None and not lower < upper:
        raise ValueError(f"expected a lower limit below the upper, found {lower} and {upper}")
