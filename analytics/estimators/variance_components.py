"""Variance components: intervals for sums and differences of mean squares, and restricted likelihood."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from scipy import linalg, optimize, special

from analytics.estimators.arrays import FloatArray, IntArray, tail
from analytics.estimators.interval import Interval

LARGEST_CELLS = 1500


@dataclass(frozen=True)
class MeanSquare:
    """Hold one line of an analysis of variance; `ratio` and `probability` are None on the error line."""

    source: str
    sum_of_squares: float
    degrees: int
    mean_square: float
    ratio: float | None
    probability: float | None

    @classmethod
    def of(cls, source: str, sum_of_squares: float, degrees: int, against: "MeanSquare | None") -> "MeanSquare":
        """Build the line and test it against another one."""
        mean_square = float(sum_of_squares) / degrees
        if against is None or against.mean_square == 0:
            return cls(source, float(sum_of_squares), degrees, mean_square, None, None)
        ratio = mean_square / against.mean_square
        probability = float(special.fdtrc(degrees, against.degrees, ratio))
        return cls(source, float(sum_of_squares), degrees, mean_square, ratio, probability)

    def pooled_with(self, other: "MeanSquare") -> "MeanSquare":
        """Pool two lines that estimate the same variance."""
        return MeanSquare.of(
            self.source, self.sum_of_squares + other.sum_of_squares, self.degrees + other.degrees, None
        )


def modified_large_sample(
    terms: Sequence[tuple[MeanSquare, float]], readings: int, units: int, level: float
) -> Interval:
    """Estimate a weighted sum of mean squares with its modified large-sample interval, cut off at zero.

    Weights may be of either sign. Sums: Graybill & Wang 1980; differences with the cross terms of Ting,
    Burdick, Graybill, Jeyaratnam & Lu 1990, as in Burdick & Graybill 1992 (formulas from memory, coverage
    simulated). No terms at all stand for a component that was left out: zero.
    """
    method = "modified large sample"
    if not terms:
        return Interval(0.0, 0.0, 0.0, readings, units, level, "left out of the model")
    estimate = sum(weight * line.mean_square for line, weight in terms)
    side = tail(level)
    lower = estimate - np.sqrt(max(_spread(terms, side), 0.0))
    upper = estimate + np.sqrt(max(_spread([(line, -weight) for line, weight in terms], side), 0.0))
    value = max(estimate, 0.0)
    return Interval(value, float(min(max(lower, 0.0), value)), float(max(upper, value)), readings, units, level, method)


def _spread(terms: Sequence[tuple[MeanSquare, float]], side: float) -> float:
    """Give the squared distance down to the lower limit; with all signs turned, up to the upper one."""
    plus = [(abs(w) * line.mean_square, line.degrees) for line, w in terms if w > 0]
    minus = [(abs(w) * line.mean_square, line.degrees) for line, w in terms if w < 0]
    total = sum((_shrink(n, side) * size) ** 2 for size, n in plus)
    total += sum((_stretch(n, side) * size) ** 2 for size, n in minus)
    for size, n in plus:
        for other, m in minus:
            f = special.fdtri(n, m, 1 - side)
            cross = ((f - 1) ** 2 - (_shrink(n, side) * f) ** 2 - _stretch(m, side) ** 2) / f
            total += cross * size * other
    for (size, n), (other, m) in combinations(plus, 2):
        both = _shrink(n + m, side) ** 2 * (n + m) ** 2 / (n * m)
        cross = both - _shrink(n, side) ** 2 * n / m - _shrink(m, side) ** 2 * m / n
        total += cross * size * other / (len(plus) - 1) if minus else 0.0
    return float(total)


def _shrink(degrees: int, side: float) -> float:
    return float(1 - degrees / special.chdtri(degrees, side))


def _stretch(degrees: int, side: float) -> float:
    return float(degrees / (2 * special.gammaincinv(degrees / 2, side)) - 1)


def satterthwaite(value: float, variance: float, readings: int, units: int, level: float) -> Interval:
    """Estimate a variance whose sampling variance is known, with the chi-square interval that matches it.

    Below one matched degree of freedom (an estimate near zero) the limits are zero and the normal one.
    Source: Satterthwaite 1946.
    """
    side = tail(level)
    degrees = 2 * value**2 / variance if variance > 0 else np.inf
    method = "Satterthwaite"
    normal = value + -special.ndtri(side) * np.sqrt(variance)
    if degrees < 1:
        return Interval(value, 0.0, float(normal), readings, units, level, method)
    low, high = value * degrees / (2 * special.gammaincinv(degrees / 2, [1 - side, side]))
    return Interval(value, float(low), float(high), readings, units, level, method)


def recovered_sum(parts: Sequence[Interval]) -> Interval:
    """Estimate a sum of components from their own intervals (variance recovery, Zou & Donner 2008).

    Keeps the long upper tail of a component that rests on few units, which one matched chi-square loses.
    """
    value = sum(part.estimate for part in parts)
    down = np.sqrt(sum((part.estimate - part.lower) ** 2 for part in parts))
    up = np.sqrt(sum((part.upper - part.estimate) ** 2 for part in parts))
    first = parts[0]
    return Interval(
        value, float(max(value - down, 0.0)), float(value + up), first.observations, first.units, first.level,
        f"{first.method}, recovered for the sum",
    )  # fmt: skip


def restricted_likelihood(
    values: FloatArray, cells: IntArray, factors: Mapping[str, IntArray]
) -> tuple[FloatArray, FloatArray]:
    """Estimate variances of error and of random factors by restricted maximum likelihood.

    `values` one a row, `cells` the finest crossing of the factors, `factors` level codes a row. Returns
    variances ordered (error, *factors) and their covariance, the inverse of the expected information over
    the components that are not zero. Works on cell means plus the spread within cells, which is
    sufficient. Raises ValueError without repeats or with more than 1,500 cells.
    """
    names, first, codes = np.unique(cells, return_index=True, return_inverse=True)
    if names.size > LARGEST_CELLS:
        raise ValueError(f"expected at most {LARGEST_CELLS} combinations of part and operator, found {names.size}")
    counts = np.bincount(codes).astype(float)
    means = np.bincount(codes, values) / counts
    squares = float(((values - means[codes]) ** 2).sum())
    degrees = int(values.size - names.size)
    if degrees < 1 or squares == 0:
        raise ValueError("expected repeats that differ, found none")
    shapes = [np.diag(1 / counts)]
    shapes += [(codes_[first][:, None] == codes_[first][None, :]).astype(float) for codes_ in factors.values()]
    scale = max(float(values.var()), squares / degrees)
    variances = _maximise(means, shapes, squares, degrees, scale)
    return variances, _covariance(variances, shapes, degrees)


def _maximise(
    means: FloatArray, shapes: Sequence[FloatArray], squares: float, degrees: int, scale: float
) -> FloatArray:
    def objective(free: FloatArray) -> tuple[float, FloatArray]:
        deviance, gradient = _deviance(free * scale, means, shapes, squares, degrees)
        return deviance, gradient * scale

    start = np.full(len(shapes), 0.2)
    start[0] = squares / degrees / scale
    bounds = [(1e-9, None), *[(0.0, None)] * (len(shapes) - 1)]
    found = optimize.minimize(
        objective, start, jac=True, bounds=bounds, method="L-BFGS-B", options={"ftol": 1e-13, "gtol": 1e-9}
    )
    variances: FloatArray = np.asarray(found.x, dtype=np.float64) * scale
    variances[variances < 1e-7 * scale] = 0.0
    return variances


def _deviance(
    variances: FloatArray, means: FloatArray, shapes: Sequence[FloatArray], squares: float, degrees: int
) -> tuple[float, FloatArray]:
    """Give minus twice the restricted log-likelihood and its slope in each variance."""
    projection, log_determinant = _projection(variances, shapes)
    residual = projection @ means
    error = variances[0]
    deviance = log_determinant + means @ residual + degrees * np.log(error) + squares / error
    gradient = np.array([(projection * shape).sum() - residual @ shape @ residual for shape in shapes])
    gradient[0] += degrees / error - squares / error**2
    return float(deviance), gradient


def _projection(variances: FloatArray, shapes: Sequence[FloatArray]) -> tuple[FloatArray, float]:
    total = sum((variance * shape for variance, shape in zip(variances, shapes, strict=True)), start=0.0 * shapes[0])
    root = linalg.cho_factor(total, lower=True)
    inverse = linalg.cho_solve(root, np.eye(total.shape[0]))
    ones = inverse.sum(axis=1)
    weight = ones.sum()
    projection: FloatArray = inverse - np.outer(ones, ones) / weight
    return projection, float(2 * np.log(np.diag(root[0])).sum() + np.log(weight))


def _covariance(variances: FloatArray, shapes: Sequence[FloatArray], degrees: int) -> FloatArray:
    projection, _ = _projection(variances, shapes)
    products = [projection @ shape for shape in shapes]
    information = np.array([[0.5 * (left * right.T).sum() for right in products] for left in products])
    information[0, 0] += 0.5 * degrees / variances[0] ** 2
    free = np.flatnonzero(variances > 0)
    covariance = np.zeros_like(information)
    covariance[np.ix_(free, free)] = linalg.pinvh(information[np.ix_(free, free)])
    for zero in np.flatnonzero(variances == 0):
        covariance[zero, zero] = 1 / information[zero, zero]
    return covariance
