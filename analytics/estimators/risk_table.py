"""Who was under observation when: the table that product-limit and cumulative-incidence estimates start from."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from analytics.estimators.arrays import FloatArray, IntArray, as_amounts, as_codes, as_numbers, ranked, same_length


@dataclass(frozen=True)
class RiskTable:
    """Hold one row per group and distinct time of entry or exit, sorted by group, then time.

    start: (groups + 1) row at which each group begins. group, time, at_risk, left: (rows); events: (causes, rows).
    at_risk counts those with entry < time <= exit, so that whoever leaves at a time is still at risk for what
    happens at it. entry_row, exit_row: (observations) first row after entry, and row of exit.
    observations: (groups) how many observations each group has.
    """

    start: IntArray
    group: IntArray
    time: FloatArray
    at_risk: FloatArray
    events: FloatArray
    left: FloatArray
    entry_row: IntArray
    exit_row: IntArray
    observations: IntArray

    def running(self, values: FloatArray) -> FloatArray:
        """Sum values over rows up to and including each row, within its group."""
        sums = np.empty_like(values)
        for first, last in pairwise(self.start):
            np.cumsum(values[first:last], out=sums[first:last])
        return sums

    def product(self, factors: FloatArray) -> FloatArray:
        """Multiply factors over rows up to and including each row, within its group."""
        products = np.empty_like(factors)
        for first, last in pairwise(self.start):
            np.cumprod(factors[first:last], out=products[first:last])
        return products

    def before(self, values: FloatArray, at_start: float) -> FloatArray:
        """Give at each row the value of the row before it in its group, `at_start` at a group's first row."""
        shifted = np.empty_like(values)
        shifted[1:] = values[:-1]
        shifted[self.start[:-1][self.start[:-1] < len(values)]] = at_start
        return shifted

    def rows_at(self, times: FloatArray) -> IntArray:
        """Give (groups, times) the last row at or before each time, start - 1 where there is none."""
        spans = pairwise(self.start)
        rows = [first + np.searchsorted(self.time[first:last], times, side="right") - 1 for first, last in spans]
        return np.array(rows, dtype=np.int64).reshape(len(self.start) - 1, len(times))

    def at_risk_at(self, times: FloatArray) -> FloatArray:
        """Give (groups, times) how many are under observation at each time, 0 after the last."""
        padded = np.append(self.at_risk, 0.0)
        spans = pairwise(self.start)
        rows = []
        for first, last in spans:
            row = first + np.searchsorted(self.time[first:last], times, side="left")
            rows.append(np.where(row < last, padded[row], 0.0))
        return np.array(rows, dtype=np.float64).reshape(len(self.start) - 1, len(times))

    def first_row(self, wanted: npt.NDArray[np.bool_]) -> IntArray:
        """Give for each group the first row that is wanted, -1 where there is none."""
        found = np.append(np.flatnonzero(wanted), len(wanted))
        first = found[np.searchsorted(found, self.start[:-1])]
        return np.where(first < self.start[1:], first, -1)


def risk_table(
    duration: npt.ArrayLike,
    cause: npt.ArrayLike,
    causes: int,
    *,
    entry: npt.ArrayLike | None = None,
    weight: npt.ArrayLike | None = None,
    group: npt.ArrayLike | None = None,
    groups: int | None = None,
) -> RiskTable:
    """Count who enters, fails and leaves at each time, for each group.

    duration: (observations) time from the origin to leaving observation, any unit; cause: 0 left without an event,
    1 .. causes the event; entry: time at which observation began (after the origin: late entry), below duration;
    weight: how many observations a row stands for (more than zero); group: codes 0 .. groups - 1.
    Raises ValueError naming what is wrong.
    """
    exit_time = as_amounts("duration", duration)
    what = as_codes("cause", cause)
    code = np.zeros(len(exit_time), np.int64) if group is None else as_codes("group", group)
    mass = np.ones(len(exit_time)) if weight is None else as_amounts("weight", weight)
    start_time = np.full(len(exit_time), -1.0) if entry is None else as_numbers("entry", entry)
    same_length(duration=exit_time, cause=what, group=code, weight=mass, entry=start_time)
    total = (int(code.max(initial=0)) + 1) if groups is None else groups
    _refuse(exit_time, start_time, what, causes, code, total)
    # A common grid of distinct times turns (group, time) into one integer key, which ranks fast.
    moments = exit_time if entry is None else np.concatenate([exit_time, start_time])
    grid, place = ranked(moments)
    keys, row = ranked(_keys(code, place, len(grid))) if total > 1 else (np.arange(len(grid)), place)
    exit_row = row[: len(exit_time)]
    start = np.searchsorted(keys, np.arange(total + 1) * len(grid))
    entry_row = start[code] if entry is None else row[len(exit_time) :] + 1
    at_risk, events, left = _count(len(keys), start, entry_row, exit_row, what, causes, mass)
    observations = np.bincount(code, minlength=total)
    return RiskTable(
        start, keys // len(grid), grid[keys % len(grid)], at_risk, events, left, entry_row, exit_row, observations
    )


def _keys(code: IntArray, place: IntArray, span: int) -> IntArray:
    return np.tile(code, len(place) // max(len(code), 1)) * span + place


def _count(
    rows: int, start: IntArray, entry_row: IntArray, exit_row: IntArray, what: IntArray, causes: int, mass: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    counts = np.bincount(what * rows + exit_row, weights=mass, minlength=(causes + 1) * rows)
    by_cause = counts.reshape(causes + 1, rows)
    gone = by_cause.sum(axis=0)
    entered = np.bincount(entry_row, weights=mass, minlength=rows + 1)[: rows + 1]
    at_risk = np.empty(rows)
    for first, last in pairwise(start):
        # Summing from the end leaves the last to fail with at_risk == events exactly, whatever the weights.
        later = np.append(entered[first + 1 : last], 0.0)
        at_risk[first:last] = np.cumsum((gone[first:last] - later)[::-1])[::-1]
    return at_risk, np.asarray(by_cause[1:], np.float64), np.asarray(by_cause[0], np.float64)


def _refuse(
    exit_time: FloatArray, start_time: FloatArray, what: IntArray, causes: int, code: IntArray, total: int
) -> None:
    if np.any(start_time >= exit_time):
        place = int(np.flatnonzero(start_time >= exit_time)[0])
        found = f"entry {start_time[place]:g} and duration {exit_time[place]:g} at place {place}"
        raise ValueError(f"observation must begin before it ends, found {found}")
    if np.any(what > causes):
        raise ValueError(f"cause must lie between 0 and {causes}, found {int(what.max())}")
    if np.any(code >= total):
        raise ValueError(f"group must lie between 0 and {total - 1}, found {int(code.max())}")
