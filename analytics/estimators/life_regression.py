"""Accelerated-life regression: log age shifts with covariates, one spread for all.

z = steepness * (log age - shift) - design @ coefficients + constant is linear in the parameters, so the
log-likelihood is concave (but for late entry) and any one effect can be profiled by moving it into the shift.
Source: Lawless, Statistical Models and Methods for Lifetime Data, 2nd ed. 2003, ch. 6; Meeker & Escobar 1998, ch. 17.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.estimators.life_likelihood import interval_derivatives
from analytics.estimators.life_models import LifeModel, Values
from analytics.estimators.life_observations import LifeObservations

ROUNDS = 100
LARGEST_COEFFICIENT = 60.0


@dataclass(frozen=True)
class RegressionFit:
    """Hold a maximum: coefficients (in z), steepness, log-likelihood, information matrix of (coefficients, steepness).

    found is False where the likelihood has no interior maximum.
    """

    coefficients: Values
    steepness: float
    log_likelihood: float
    information: Values
    found: bool


@dataclass(frozen=True)
class RegressionRows:
    """Hold the rows of a regression on the log-age scale less its mean, in sorted order.

    Shapes (n,): lower (-inf when never seen good), upper (+inf when not failed), entry (-inf when from new), count,
    exact; design (n, k).
    """

    lower: Values
    upper: Values
    entry: Values
    count: Values
    exact: NDArray[np.bool_]
    design: Values
    centre: float

    @property
    def jacobian(self) -> float:
        """Give the sum of log age over exact rows, by which a density of log age differs from one of age."""
        return float(self.count[self.exact] @ (self.upper[self.exact] + self.centre))


def regression_rows(observations: LifeObservations, design: ArrayLike) -> RegressionRows:
    """Join observations and design row by row; rows of count 0 or sound at age 0 are dropped, the rest sorted.

    Raises ValueError for a design of another length, unknown covariates, or a failure at age 0.
    """
    matrix = np.array(design, dtype=float)
    if matrix.ndim != 2 or len(matrix) != len(observations.lower):
        raise ValueError(f"the design needs one row for each of the {len(observations.lower)} observations")
    if not np.isfinite(matrix).all():
        raise ValueError("covariates must be known in every row")
    if (observations.upper[observations.count > 0] == 0).any():
        raise ValueError("a failure stands at age 0; a failure needs an age above 0")
    lower = np.maximum(observations.lower, observations.entry)
    kept = (observations.count > 0) & ((lower > 0) | np.isfinite(observations.upper))
    columns = [lower, observations.upper, observations.entry, observations.count, *matrix.T]
    table = np.column_stack(columns)[kept]
    table = table[np.lexsort(table.T[::-1])]
    with np.errstate(divide="ignore"):
        low, up, entry = np.log(table[:, 0]), np.log(table[:, 1]), np.log(table[:, 2])
    known = np.where(np.isfinite(up), up, low)
    centre = float(np.average(known, weights=table[:, 3])) if len(table) else 0.0
    return RegressionRows(
        low - centre, up - centre, entry - centre, table[:, 3], table[:, 0] == table[:, 1], table[:, 4:], centre
    )


def regression_fit(
    rows: RegressionRows,
    model: LifeModel,
    design: Values,
    shift: Values | float = 0.0,
    constant: Values | float = 0.0,
    start: RegressionFit | None = None,
) -> RegressionFit:
    """Fit by Newton's method with step halving. Shapes: design (n, k), shift and constant (n,) or one value."""
    pieces = _pieces(rows, design, shift, constant)
    if start is not None and len(start.coefficients) == design.shape[1]:
        theta = np.append(start.coefficients, start.steepness)
    else:
        theta = np.append(np.linalg.lstsq(design, np.full(len(design), 0.3), rcond=None)[0], 1.5)
    value, gradient, information = _evaluate(pieces, model, theta)
    decrement = np.inf
    for _ in range(ROUNDS):
        step = _ascent(information, gradient)
        decrement = float(step @ gradient)
        if decrement < 1e-11 or np.abs(theta).max() > 10 * LARGEST_COEFFICIENT:
            break
        length = min(1.0, 0.75 * theta[-1] / max(-step[-1], 1e-300))
        for _ in range(40):
            new = _evaluate(pieces, model, theta + length * step)
            if new[0] >= value + 1e-4 * length * decrement - 1e-12 * abs(value):
                break
            length /= 2
        else:
            break
        theta = theta + length * step
        value, gradient, information = new
    inside = bool(np.abs(theta).max() < LARGEST_COEFFICIENT and theta[-1] > 0.02 and decrement < 1e-6)
    solid = inside and float(np.linalg.eigvalsh(information).min()) > 1e-9
    return RegressionFit(theta[:-1], float(theta[-1]), value - rows.jacobian, information, solid)


@dataclass(frozen=True)
class _Piece:
    """Rows of one kind: z = matrix @ (coefficients, steepness) + constant; `matrix_good` for intervals only."""

    kind: str
    weight: Values
    matrix: Values
    constant: Values
    matrix_good: Values


def _pieces(rows: RegressionRows, design: Values, shift: Values | float, constant: Values | float) -> list[_Piece]:
    moved, added = np.broadcast_to(shift, rows.count.shape), np.broadcast_to(constant, rows.count.shape)
    running = np.isinf(rows.upper)
    failed = np.isinf(rows.lower) & ~running
    interval = ~running & ~failed & ~rows.exact
    late = np.isfinite(rows.entry)

    def piece(kind: str, mask: NDArray[np.bool_], age: Values, sign: float = 1.0) -> _Piece:
        matrix = np.column_stack([-design[mask], (age - moved)[mask]])
        good = np.column_stack([-design[mask], (rows.lower - moved)[mask]])
        return _Piece(kind, sign * rows.count[mask], matrix, added[mask], good)

    pieces = [
        piece("failed", failed, rows.upper),
        piece("sound", running, rows.lower),
        piece("sound", late, rows.entry, -1.0),
        piece("exact", rows.exact, rows.upper),
        piece("interval", interval, rows.upper),
    ]
    return [p for p in pieces if len(p.weight)]


def _evaluate(pieces: list[_Piece], model: LifeModel, theta: Values) -> tuple[float, Values, Values]:
    """Return the log-likelihood, its gradient and minus its second derivatives."""
    size = len(theta)
    value, gradient, curvature = 0.0, np.zeros(size), np.zeros((size, size))
    simple = {"failed": model.log_failed, "sound": model.log_sound, "exact": model.log_density}
    for p in pieces:
        z = p.matrix @ theta + p.constant
        if p.kind == "interval":
            z_good = p.matrix_good @ theta + p.constant
            v, at_good, at_bad, good2, bad2, cross = interval_derivatives(model, z_good, z)
            gradient = gradient + p.matrix.T @ (p.weight * at_bad) + p.matrix_good.T @ (p.weight * at_good)
            mixed = p.matrix_good.T @ ((p.weight * cross)[:, None] * p.matrix)
            curvature = curvature - (
                p.matrix.T @ ((p.weight * bad2)[:, None] * p.matrix)
                + p.matrix_good.T @ ((p.weight * good2)[:, None] * p.matrix_good)
                + mixed
                + mixed.T
            )
        else:
            v, first, second = simple[p.kind](z)
            gradient = gradient + p.matrix.T @ (p.weight * first)
            curvature = curvature - p.matrix.T @ ((p.weight * second)[:, None] * p.matrix)
            if p.kind == "exact":
                number = float(p.weight.sum())
                value += number * float(np.log(theta[-1]))
                gradient[-1] += number / theta[-1]
                curvature[-1, -1] += number / theta[-1] ** 2
        value += float(p.weight @ v)
    return (value if np.isfinite(value) else -np.inf), gradient, curvature


def _ascent(information: Values, gradient: Values) -> Values:
    """Return the Newton step, the information lifted to be positive definite where it is not."""
    values, vectors = np.linalg.eigh(information)
    lifted = np.maximum(np.abs(values), 1e-10 * max(float(np.abs(values).max()), 1e-300))
    return np.asarray(vectors @ ((vectors.T @ gradient) / lifted))
