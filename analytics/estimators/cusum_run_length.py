"""How many events a chart sees before it raises an alarm, in ordinary work and when something is worse."""

import numpy as np
import numpy.typing as npt

from analytics.estimators.arrays import FloatArray, as_positive

_CELLS = 16  # grid cells to one event's rise
_MOST_CELLS = 80
_PLACES = (np.arange(6) + 0.5) / 6 - 0.5  # places within a cell over which its moves are averaged
# Beyond this the equations are singular to rounding, and the answer is never, for any workshop.
_NEVER = 1e13


def events_to_alarm(threshold: float, ratio: float, true_ratio: npt.ArrayLike, probability: float = 0.0) -> FloatArray:
    """Give how many events a chart sees on average from a fresh start to its alarm, that event included.

    threshold: of the statistic; ratio: the worsening it watches for (odds ratio, or rate ratio at probability 0);
    true_ratio: (cases) of the true odds or rate to the expected, 1 in ordinary work; probability: of failing in
    ordinary work for charts of cases, 0 for charts of events against exposure. Raises ValueError otherwise.

    Method: integral equation of the statistic just after each event (Page, Biometrika 41 (1954) 100), whose falls
    between events are exponential, or geometric for cases; solved on a grid.
    """
    move = _moves(threshold, ratio, true_ratio, probability)
    size = move.shape[1]
    onward = np.linalg.solve(np.eye(size) - move, np.ones((len(move), size, 1)))
    events = 1 + onward[:, 0, 0] if size > 1 else np.ones(len(move))
    return np.where((events >= 1) & (events < _NEVER), events, _NEVER)


def share_alarming(
    threshold: float, ratio: float, true_ratio: npt.ArrayLike, events: int, probability: float = 0.0
) -> FloatArray:
    """Give the probability (cases) that a fresh chart raises its alarm within its first events; else as above."""
    move = _moves(threshold, ratio, true_ratio, probability)
    if move.shape[1] == 1:
        return np.full(len(move), float(events >= 1))
    quiet = np.ones((len(move), move.shape[1], 1))
    for _ in range(events - 1):
        quiet = move @ quiet
    return np.asarray(1 - quiet[:, 0, 0] if events >= 1 else np.zeros(len(move)), dtype=np.float64)


def critical_ratio(ratio: float, probability: npt.ArrayLike = 0.0) -> FloatArray:
    """Give the true ratio above which charts drift upwards, so that no threshold holds an alarm off for long."""
    p = np.asarray(probability, dtype=np.float64)
    share = np.log1p((ratio - 1) * p) / np.log(ratio)
    positive = np.where(p > 0, p, 0.5)
    by_case = share / np.maximum(1 - share, 1e-300) * (1 - positive) / positive
    return np.asarray(np.where(p > 0, by_case, (ratio - 1) / np.log(ratio)), dtype=np.float64)


def _moves(threshold: float, ratio: float, true_ratio: npt.ArrayLike, probability: float) -> FloatArray:
    """Give (cases, states, states) chances of moving from one after-event state to another without alarm."""
    rho = np.atleast_1d(as_positive("true_ratio", true_ratio))
    if not ratio > 1 or not 0 <= probability < 1:
        raise ValueError("ratio must be above 1 and probability lie in 0 .. 1")
    rise = float(np.log(ratio) - np.log1p((ratio - 1) * probability))
    if threshold <= rise:
        return np.zeros((len(rho), 1, 1))
    cells = min(int(np.ceil((threshold - rise) / rise * _CELLS)), _MOST_CELLS)
    width = (threshold - rise) / cells
    # States: exactly one rise above zero, then each cell, over whose places the moves are averaged. A state ends at
    # or below edge j where it falls by at least its distance from that edge plus the rise to come.
    to_edge = np.asarray(rise - width * np.arange(cells + 1), dtype=np.float64)
    from_start = _fall_at_least(to_edge, rho, ratio, probability)
    difference = np.arange(1 - cells, cells + 1)
    distance = np.asarray(rise + width * (difference[:, None] - 0.5 + _PLACES), dtype=np.float64)
    by_difference = _fall_at_least(distance.ravel(), rho, ratio, probability)
    by_difference = by_difference.reshape(len(rho), len(difference), len(_PLACES)).mean(axis=2)
    place = np.arange(1, cells + 1)[:, None] - np.arange(cells + 1) + cells - 1
    reached = np.concatenate([from_start[:, None], by_difference[:, place]], axis=1)
    return np.concatenate([reached[:, :, :1], np.diff(reached, axis=2)], axis=2)


def _fall_at_least(y: FloatArray, rho: FloatArray, ratio: float, probability: float) -> FloatArray:
    """Give (cases, falls) the probability that the chart falls by at least y before its next event."""
    fall = np.maximum(y, 0.0)
    if probability == 0:
        return np.exp(-np.outer(rho, fall) / (ratio - 1))
    steps = np.ceil(fall / np.log1p((ratio - 1) * probability) - 1e-9)
    return np.exp(np.outer(-np.log1p(rho * probability / (1 - probability)), steps))
