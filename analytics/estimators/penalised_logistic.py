"""Logistic regression that keeps its head on few data: ridge with a penalty chosen from the data, and Firth's."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import optimize, special

from analytics.estimators.arrays import FloatArray, as_counts, as_numbers, as_positive, tail
from analytics.estimators.interval import Intervals

PENALTIES = tuple(float(value) for value in np.geomspace(0.1, 300, 10))
_STEPS = 200


@dataclass(frozen=True)
class LogisticFit:
    """Hold a fitted line in log odds, on the scale of the columns as given.

    intercept; coefficient: (columns); covariance: (1 + columns, 1 + columns), intercept first; lower, upper:
    (columns) limits of the coefficients; penalty: on coefficients of columns scaled to unit standard deviation;
    deviance: (penalties tried) mean deviance of a case left out, empty where nothing was chosen.
    """

    intercept: float
    coefficient: FloatArray
    covariance: FloatArray
    lower: FloatArray
    upper: FloatArray
    penalty: float
    deviance: FloatArray
    level: float
    method: str

    def predict(self, columns: npt.ArrayLike, offset: npt.ArrayLike = 0.0) -> Intervals:
        """Give each row's probability with limits of that probability (not of the outcome)."""
        x = np.atleast_2d(as_numbers("columns", columns))
        line = self.intercept + x @ self.coefficient + as_numbers("offset", offset)
        full = np.column_stack([np.ones(len(x)), x])
        error = np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", full, self.covariance, full), 0.0))
        half = float(special.ndtri(1 - tail(self.level))) * error
        return Intervals(
            special.expit(line), special.expit(line - half), special.expit(line + half), self.level, self.method
        )


def ridge_logistic(
    columns: npt.ArrayLike,
    failed: npt.ArrayLike,
    cases: npt.ArrayLike | float = 1.0,
    offset: npt.ArrayLike = 0.0,
    penalties: Sequence[float] = PENALTIES,
    level: float = 0.95,
) -> LogisticFit:
    """Fit with coefficients drawn towards 0, as strongly as predicts best; the intercept is free.

    columns: (rows, columns) clues as 0/1 or numbers; failed of cases: (rows) counts, so that like rows may be joined;
    offset: (rows) log odds known beforehand, such as the plain frequency of the family; penalties: to choose from, or
    one. Raises ValueError otherwise, or where all or none failed.

    Method: penalised likelihood (le Cessie & van Houwelingen, Appl. Stat. 41 (1992) 191); the penalty is that of the
    least deviance with each case left out, by one step from the full fit (their formula). Limits are those of the
    normal approximation to the posterior under the prior that the penalty is.
    """
    x, y, n, known = _rows(columns, failed, cases, offset)
    scale = _scale(x, n)
    centre = (n @ x) / n.sum()
    design = np.column_stack([np.ones(len(x)), (x - centre) / scale])
    choices = np.sort(as_positive("penalties", list(penalties)))[::-1]
    start, fits, deviances = np.zeros(design.shape[1]), [], []
    for penalty in choices:
        # From the strongest down: each fit starts near the next.
        start, inverse = _fit(design, y, n, known, float(penalty), start)
        fits.append((start, inverse))
        deviances.append(_left_out_deviance(design, y, n, known, start, inverse))
    best = int(np.argmin(deviances))
    back = _back(scale, centre)
    beta, covariance = back @ fits[best][0], back @ fits[best][1] @ back.T
    half = float(special.ndtri(1 - tail(level))) * np.sqrt(np.diag(covariance)[1:])
    coefficient = beta[1:]
    return LogisticFit(
        float(beta[0]),
        coefficient,
        covariance,
        coefficient - half,
        coefficient + half,
        float(choices[best]),
        np.array(deviances[::-1]) if len(choices) > 1 else np.zeros(0),
        level,
        "ridge logistic, penalty by cases left out" if len(choices) > 1 else "ridge logistic",
    )


def firth_logistic(
    columns: npt.ArrayLike,
    failed: npt.ArrayLike,
    cases: npt.ArrayLike | float = 1.0,
    offset: npt.ArrayLike = 0.0,
    level: float = 0.95,
) -> LogisticFit:
    """Fit few columns with Firth's correction, which is finite also where a column separates failed from sound.

    Arguments as `ridge_logistic`; columns must not depend on each other. Raises ValueError otherwise.
    Method: Firth, Biometrika 80 (1993) 27; limits of the coefficients by profile penalised likelihood (Heinze &
    Schemper, Stat. Med. 21 (2002) 2409); the covariance is that of the penalised fit.
    """
    x, y, n, known = _rows(columns, failed, cases, offset)
    scale, centre = _scale(x, n), (n @ x) / n.sum()
    design = np.column_stack([np.ones(len(x)), (x - centre) / scale])
    if np.linalg.matrix_rank(design[n > 0]) < design.shape[1]:
        raise ValueError("columns depend on each other: leave one out")
    beta = _firth(design, y, n, known, np.zeros(design.shape[1]), np.ones(design.shape[1], bool))
    drop = float(special.chdtri(1, 2 * tail(level))) / 2
    limits = [_profile(design, y, n, known, beta, column, drop) for column in range(1, design.shape[1])]
    _, information = _firth_parts(design, y, n, known, beta)
    back = _back(scale, centre)
    whole, covariance = back @ beta, back @ np.linalg.inv(information) @ back.T
    lower, upper = (np.array([pair[side] for pair in limits]) / scale for side in (0, 1))
    method = "Firth logistic, profile limits"
    return LogisticFit(float(whole[0]), whole[1:], covariance, lower, upper, 0.0, np.zeros(0), level, method)


def _rows(
    columns: npt.ArrayLike, failed: npt.ArrayLike, cases: npt.ArrayLike | float, offset: npt.ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    x, y = as_numbers("columns", columns), as_counts("failed", failed)
    if x.ndim != 2 or len(x) != len(y):
        raise ValueError(f"columns must be (rows, columns) with one row for each of failed, found {x.shape}")
    n = np.broadcast_to(as_counts("cases", cases), y.shape)
    if np.any(y > n) or y.sum() == 0 or y.sum() == n.sum():
        raise ValueError("failed must not exceed cases, and some but not all must have failed")
    # A fixed order of rows keeps floating sums the same whatever the order of the input.
    known = np.broadcast_to(as_numbers("offset", offset), y.shape)
    order = np.lexsort((known, y, n, *x.T))
    return x[order], y[order], n[order], known[order]


def _scale(x: FloatArray, n: FloatArray) -> FloatArray:
    centre = (n @ x) / n.sum()
    spread = np.sqrt(n @ (x - centre) ** 2 / n.sum())
    return np.where(spread > 1e-12, spread, 1.0)


def _back(scale: FloatArray, centre: FloatArray) -> FloatArray:
    """Give the matrix that takes coefficients of the scaled columns to those of the columns as given."""
    back = np.diag(np.append(1.0, 1 / scale))
    back[0, 1:] = -centre / scale
    return back


def _fit(
    design: FloatArray, y: FloatArray, n: FloatArray, known: FloatArray, penalty: float, start: FloatArray
) -> tuple[FloatArray, FloatArray]:
    weight_decay = np.append(0.0, np.full(design.shape[1] - 1, penalty))

    def objective(beta: FloatArray) -> float:
        line = known + design @ beta
        return float(np.sum(n * np.logaddexp(0, line) - y * line) + 0.5 * weight_decay @ beta**2)

    beta, value = start, objective(start)
    for _ in range(_STEPS):
        share = special.expit(known + design @ beta)
        information = (design.T * (n * share * (1 - share))) @ design + np.diag(weight_decay)
        step = np.linalg.solve(information, design.T @ (y - n * share) - weight_decay * beta)
        size, reached = 1.0, objective(beta + step)
        while reached > value + 1e-10 and size > 1e-6:
            size /= 2
            reached = objective(beta + size * step)
        beta, value = beta + size * step, reached
        if np.max(np.abs(step)) < 1e-9:
            return beta, np.linalg.inv(information)
    raise ValueError(f"the penalised fit did not settle in {_STEPS} steps")


def _left_out_deviance(
    design: FloatArray, y: FloatArray, n: FloatArray, known: FloatArray, beta: FloatArray, inverse: FloatArray
) -> float:
    line = known + design @ beta
    share = special.expit(line)
    weight = share * (1 - share)
    pull = np.einsum("ij,ij->i", design @ inverse, design)
    room = np.maximum(1 - weight * pull, 1e-6)
    without_failed, without_sound = line - pull * (1 - share) / room, line + pull * share / room
    deviance = y * np.logaddexp(0, -without_failed) + (n - y) * np.logaddexp(0, without_sound)
    return float(2 * deviance.sum() / n.sum())


def _firth_parts(
    design: FloatArray, y: FloatArray, n: FloatArray, known: FloatArray, beta: FloatArray
) -> tuple[FloatArray, FloatArray]:
    share = special.expit(known + design @ beta)
    weight = n * share * (1 - share)
    information = (design.T * weight) @ design
    leverage = weight * np.einsum("ij,jk,ik->i", design, np.linalg.inv(information), design)
    return design.T @ (y - n * share + leverage * (0.5 - share)), information


def _firth_likelihood(design: FloatArray, y: FloatArray, n: FloatArray, known: FloatArray, beta: FloatArray) -> float:
    line = known + design @ beta
    share = special.expit(line)
    information = (design.T * (n * share * (1 - share))) @ design
    return float(np.sum(y * line - n * np.logaddexp(0, line)) + 0.5 * np.linalg.slogdet(information)[1])


def _firth(
    design: FloatArray, y: FloatArray, n: FloatArray, known: FloatArray, start: FloatArray, free: npt.NDArray[np.bool_]
) -> FloatArray:
    beta = start.copy()
    value = _firth_likelihood(design, y, n, known, beta)
    for _ in range(_STEPS):
        score, information = _firth_parts(design, y, n, known, beta)
        step = np.zeros(len(beta))
        step[free] = np.linalg.solve(information[np.ix_(free, free)], score[free])
        step *= min(1.0, 2.0 / max(float(np.max(np.abs(step))), 1e-300))
        size = 1.0
        while _firth_likelihood(design, y, n, known, beta + size * step) < value - 1e-10 and size > 1e-6:
            size /= 2
        beta = beta + size * step
        value = _firth_likelihood(design, y, n, known, beta)
        if np.max(np.abs(step)) < 1e-8:
            return beta
    raise ValueError(f"Firth's fit did not settle in {_STEPS} steps")


def _profile(
    design: FloatArray, y: FloatArray, n: FloatArray, known: FloatArray, beta: FloatArray, column: int, drop: float
) -> tuple[float, float]:
    free = np.arange(len(beta)) != column
    top = _firth_likelihood(design, y, n, known, beta)

    def short(value: float) -> float:
        fixed = beta.copy()
        fixed[column] = value
        return top - drop - _firth_likelihood(design, y, n, known, _firth(design, y, n, known, fixed, free))

    ends = []
    for direction in (-1.0, 1.0):
        reach = 0.5
        while short(float(beta[column]) + direction * reach) < 0 and reach < 200:
            reach *= 2
        inner, outer = float(beta[column]), float(beta[column]) + direction * reach
        ends.append(float(optimize.brentq(short, min(inner, outer), max(inner, outer), xtol=1e-8)))
    return ends[0], ends[1]
