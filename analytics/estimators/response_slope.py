"""Response of a reading to a change of pack, learned from the trials within jobs."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from analytics.estimators.arrays import FloatArray, IntArray, as_numbers, tail
from analytics.estimators.interval import Interval, TooFew

TUNING = 4.685
"""Bisquare constant of 95 % efficiency for normal errors."""


@dataclass(frozen=True)
class ResponseSlope:
    """Hold the change of the reading per mm of pack, and what it rests on.

    `slope` carries the unit of the reading per mm. `deviation` is the robust standard deviation of a
    single reading about its job's line: compare with the gauge's repeatability. `outliers` are places in
    the input of readings given (almost) no weight. `left_out` counts readings of jobs whose pack never
    changed, which tell nothing.
    """

    slope: Interval
    deviation: float
    jobs: int
    readings: int
    left_out: int
    outliers: tuple[int, ...]


def response_slope(
    packs: ArrayLike,
    readings: ArrayLike,
    jobs: Sequence[object],
    pack_deviation: float = 0.0,
    level: float = 0.95,
    minimum_jobs: int = 6,
) -> ResponseSlope | TooFew:
    """Estimate how far a reading moves per mm of pack, from the trials of many jobs.

    One trial a row: `packs` (mm), `readings` (any unit), `jobs` (names). Each job has its own level, one
    slope holds for all, so that only what changed within a job speaks: reading differences of consecutive
    trials share a reading, and the common level takes care of that. Bisquare weights from a Theil-Sen start
    resist slips; `pack_deviation` (mm, standard deviation of a measured pack) undoes the flattening that
    errors in the pack bring (corrected score, Fuller 1987). The interval takes t on (jobs - 1) and the
    larger of two standard errors: that of one slope for all jobs (Huber 1981) and the cluster-robust one,
    which also allows for slopes that differ between jobs. Gives TooFew below `minimum_jobs` jobs with a
    changed pack. Raises ValueError for
    unequal lengths, non-finite values, or a pack deviation as large as the changes themselves.
    """
    tail(level)
    x, y = as_numbers("packs", packs), as_numbers("readings", readings)
    if not x.size == y.size == len(jobs):
        raise ValueError(f"expected a pack, a reading and a job a trial, found {x.size}, {y.size} and {len(jobs)}")
    if pack_deviation < 0:
        raise ValueError(f"expected a pack deviation of zero or more, found {pack_deviation}")
    order, code = _informative(x, y, jobs)
    count = int(code.max() + 1) if code.size else 0
    if count < minimum_jobs:
        return TooFew("jobs with a changed pack", count, minimum_jobs)
    u, v = x[order], y[order]
    weight, noise, scale, slope = _bisquare(u, v, code, pack_deviation)
    error = max(
        _cluster_error(u, v, code, weight, slope, noise), _common_error(u, v, code, weight, slope, noise, scale)
    )
    half = float(-special.stdtrit(count - 1, tail(level)) * error)
    outliers = tuple(sorted(int(place) for place in order[weight < 0.05]))
    interval = Interval(slope, slope - half, slope + half, u.size, count, level, "bisquare within jobs, cluster-robust")
    return ResponseSlope(interval, scale, count, u.size, x.size - u.size, outliers)


def _informative(x: FloatArray, y: FloatArray, jobs: Sequence[object]) -> tuple[IntArray, IntArray]:
    """Give the rows of jobs whose pack changed, sorted, with their job codes."""
    _, code = np.unique(np.asarray([str(job) for job in jobs]), return_inverse=True)
    order = np.lexsort((y, x, code))
    code = code[order]
    starts = np.flatnonzero(np.r_[True, np.diff(code) > 0]) if code.size else np.array([], dtype=np.int64)
    changed = np.zeros(code.max() + 1 if code.size else 0, dtype=bool)
    for start, stop in zip(starts, [*starts[1:], code.size], strict=True):
        changed[code[start]] = x[order[stop - 1]] > x[order[start]]
    keep = changed[code] if code.size else np.zeros(0, dtype=bool)
    _, renumbered = np.unique(code[keep], return_inverse=True)
    return order[keep], renumbered


def _bisquare(
    x: FloatArray, y: FloatArray, code: IntArray, pack_deviation: float
) -> tuple[FloatArray, FloatArray, float, float]:
    """Give weights, each job's noise from pack errors, the scale and the slope."""
    slope = _theil_sen(x, y, code)
    weight, curvature = np.ones(x.size), np.ones(x.size)
    scale = 0.0
    for _ in range(100):
        residual = _residual(x, y, code, weight, slope)
        scale = _scale(residual, code)
        if scale > 0:
            square = np.minimum(np.abs(residual) / (TUNING * scale), 1) ** 2
            weight, curvature = (1 - square) ** 2, (1 - square) * (1 - 5 * square)
        noise = _noise(code, curvature, pack_deviation)
        before, slope = slope, _solve(x, y, code, weight, noise)
        if scale == 0 or abs(slope - before) <= 1e-12 * max(abs(slope), 1e-9):
            break
    return weight, noise, scale, slope


def _theil_sen(x: FloatArray, y: FloatArray, code: IntArray) -> float:
    """Give the median of the slopes of neighbouring trials of a job, weighted by the change of pack."""
    step = np.diff(x)
    use = (np.diff(code) == 0) & (step > 0)
    slopes, size = np.diff(y)[use] / step[use], step[use]
    order = np.lexsort((size, slopes))
    cumulative = np.cumsum(size[order])
    return float(slopes[order][np.searchsorted(cumulative, cumulative[-1] / 2)])


def _centred(values: FloatArray, code: IntArray, weight: FloatArray) -> FloatArray:
    total = np.bincount(code, weight)
    means = np.bincount(code, weight * values) / np.where(total > 0, total, 1.0)
    return values - means[code]


def _residual(x: FloatArray, y: FloatArray, code: IntArray, weight: FloatArray, slope: float) -> FloatArray:
    return _centred(y - slope * x, code, weight)


def _scale(residual: FloatArray, code: IntArray) -> float:
    """Give the robust standard deviation, allowing for the level that each job takes up."""
    counts = np.bincount(code)[code]
    inflated = residual / np.sqrt(1 - 1 / counts)
    return float(np.median(np.abs(inflated)) / special.ndtri(0.75))


def _noise(code: IntArray, curvature: FloatArray, pack_deviation: float) -> FloatArray:
    """Give for each job what errors of the packs are expected to add to its sum of squared pack changes.

    For normal errors E[error x weighted residual] is the covariance times the mean slope of the weighted
    residual (`curvature`), which the weights make smaller than one.
    """
    counts = np.bincount(code)
    return pack_deviation**2 * np.bincount(code, curvature) * (1 - 1 / counts)


def _solve(x: FloatArray, y: FloatArray, code: IntArray, weight: FloatArray, noise: FloatArray) -> float:
    u = _centred(x, code, weight)
    squares = float((weight * u * u).sum() - noise.sum())
    if squares <= 0:
        raise ValueError("expected changes of pack larger than the pack's own error, found smaller ones")
    return float((weight * u * y).sum() / squares)


def _cluster_error(
    x: FloatArray, y: FloatArray, code: IntArray, weight: FloatArray, slope: float, noise: FloatArray
) -> float:
    """Give the standard error from the spread of each job's share of the score.

    Each share is enlarged as if its job had been left out (the CR3 form), which keeps few jobs honest.
    """
    u = _centred(x, code, weight)
    squares = np.bincount(code, weight * u * u) - noise
    score = np.bincount(code, weight * u * _residual(x, y, code, weight, slope)) + slope * noise
    leverage = np.clip(squares / squares.sum(), 0, 0.9)
    return float(np.sqrt(((score / (1 - leverage)) ** 2).sum()) / squares.sum())


def _common_error(
    x: FloatArray, y: FloatArray, code: IntArray, weight: FloatArray, slope: float, noise: FloatArray, scale: float
) -> float:
    """Give the standard error if all readings have one error and all jobs one slope (Huber 1981, 7.6)."""
    if scale == 0:
        return 0.0
    residual = _residual(x, y, code, weight, slope)
    square = np.minimum(np.abs(residual) / (TUNING * scale), 1) ** 2
    curvature = (1 - square) * (1 - 5 * square)
    mean = float(max(curvature.mean(), 0.1))
    levels = int(code.max()) + 2
    correction = 1 + levels / x.size * float(curvature.var()) / mean**2
    variance = ((weight * residual) ** 2).sum() / max(x.size - levels, 1) * correction**2 / mean**2
    u = _centred(x, code, np.ones(x.size))
    squares = float((u * u).sum()) * max(1 - float(noise.sum()) / float((weight * u * u).sum()), 0.1)
    return float(np.sqrt(variance / squares))
