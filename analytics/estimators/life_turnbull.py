"""The life curve from any mix of exact, interval, left- and right-censored and late-entered lives.

Written in the hazards of the atoms (lambda = -log(1 - chance of failing there, given survival so far)), the
log-likelihood is concave with late entry too: survival enters linearly, and log(1 - exp(-sum lambda)) is concave.
So a point where no slope is above zero is the maximum. Source of the estimate: Turnbull 1976, J. R. Statist. Soc.
B 38; of the method: projected Newton steps, Bertsekas 1982, SIAM J. Control Optim. 20.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.estimators.life_models import Values
from analytics.estimators.life_spans import LifeSpans

TOLERANCE = 1e-11
ROUNDS = 500
DAMPING = (1e-12, 1e-4, 1e-2, 0.1, 1.0, 10.0, 1e2, 1e3, 1e4, 1e6)
Rows = tuple[NDArray[np.intp], NDArray[np.intp], Values]
"""First atom, last atom and count of each row that failed."""


@dataclass(frozen=True)
class _Slope:
    value: float
    gradient: Values
    curvature: Values


def turnbull_masses(spans: LifeSpans) -> Values:
    """Return the masses of greatest likelihood on the m atoms and on "later than any observation", shape (m + 1,).

    Atoms that no life passed unharmed take everything that reaches them. Ends when the slopes, in log-likelihood
    a life, leave at most TOLERANCE to gain, or when no step gains any more; the caller reads the certificate.
    """
    cost = spans.covered_by(spans.start, spans.good, spans.count)[:-1]
    seen = spans.failed
    gain = spans.covered_by(spans.good[seen], spans.bad[seen], spans.count[seen])[:-1]
    takes_all = (cost <= 0) & (gain > 0)
    free = (cost > 0) & (gain > 0)
    hazard = np.where(takes_all, np.inf, 0.0)
    hazard[free] = _maximise(_reduced(spans, takes_all, free), cost[free])
    surviving = np.concatenate([[1.0], np.cumprod(np.exp(-hazard))])
    return np.append(surviving[:-1] * -np.expm1(-hazard), surviving[-1])


def _reduced(spans: LifeSpans, takes_all: NDArray[np.bool_], free: NDArray[np.bool_]) -> Rows:
    """Return first atom, last atom and count of the rows that failed within free atoms only, in free indices."""
    rank = np.concatenate([[0], np.cumsum(free)])
    absorbing = np.concatenate([[0], np.cumsum(takes_all)])
    seen = spans.failed
    first, last = spans.good[seen], spans.bad[seen]
    useful = absorbing[last] == absorbing[first]
    return rank[first[useful]], rank[last[useful]] - 1, spans.count[seen][useful]


def _maximise(rows: Rows, cost: Values) -> Values:
    first, last, count = rows
    number = len(cost)
    if not number:
        return np.zeros(0)
    share = np.zeros(number + 1)
    np.add.at(share, first, count / (last - first + 1))
    np.add.at(share, last + 1, -count / (last - first + 1))
    share = np.maximum(np.cumsum(share)[:-1], 1e-9)
    hazard = np.log1p(share / cost)
    at = _slope(rows, cost, hazard)
    total = count.sum() + cost.max()
    for _ in range(ROUNDS):
        if _unrest(hazard, at) < TOLERANCE * total:
            break
        held = (hazard <= 0) & (at.gradient <= 0)
        moved = _gain(rows, cost, hazard, at, held)
        if moved is None:
            break
        hazard, at = moved
    return hazard


def _gain(
    rows: Rows, cost: Values, hazard: Values, at: _Slope, held: NDArray[np.bool_]
) -> tuple[Values, _Slope] | None:
    """Return the first point that gains enough, or None; the step is bent towards the gradient until one does."""
    moving = np.flatnonzero(~held)
    curvature = at.curvature[np.ix_(moving, moving)]
    scale = np.diag(curvature) + 1e-9 * np.trace(curvature) / len(moving) + 1e-300
    step = np.zeros(len(held))
    rounding = 1e-13 * abs(at.value)
    for damping in DAMPING:
        step[moving] = np.linalg.solve(curvature + np.diag(damping * scale), at.gradient[moving])
        for length in (1.0, 0.5, 0.25, 0.1):
            tried = np.maximum(hazard + length * step, 0.0)
            new = _slope(rows, cost, tried)
            gain = new.value - at.value
            if gain > 1e-4 * max(float(at.gradient @ (tried - hazard)), 0.0) + rounding:
                return tried, new
            if gain > -rounding and _unrest(tried, new) < 0.5 * _unrest(hazard, at):
                return tried, new
    return None


def _unrest(hazard: Values, at: _Slope) -> float:
    """Return the largest slope that a hazard could still follow; zero exactly at the maximum."""
    held = (hazard <= 0) & (at.gradient <= 0)
    return float(np.abs(np.where(held, 0.0, np.where(hazard <= 0, 1.0, np.minimum(hazard, 1.0)) * at.gradient)).max())


def _slope(rows: Rows, cost: Values, hazard: Values) -> _Slope:
    first, last, count = rows
    number = len(cost)
    sums = np.concatenate([[0.0], np.cumsum(hazard)])
    inside = sums[last + 1] - sums[first]
    with np.errstate(divide="ignore", over="ignore"):
        value = float(count @ np.log(-np.expm1(-inside)) - cost @ hazard)
        ratio = 1 / np.expm1(inside)
    if not np.isfinite(value):
        return _Slope(-np.inf, np.zeros(number), np.zeros((number, number)))
    edges = np.zeros(number + 1)
    np.add.at(edges, first, count * ratio)
    np.add.at(edges, last + 1, -count * ratio)
    corners = np.zeros((number, number))
    np.add.at(corners, (first, last), count * ratio * (1 + ratio))
    upper = np.triu(np.cumsum(np.cumsum(corners, axis=0)[:, ::-1], axis=1)[:, ::-1])
    return _Slope(value, np.cumsum(edges)[:-1] - cost, upper + np.triu(upper, 1).T)
