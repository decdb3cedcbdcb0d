"""Run a list of watch charts: what is ordinary, how high the thresholds lie, and which alarms were raised."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from analytics.estimators.arrays import BoolArray, FloatArray, IntArray
from analytics.estimators.cusum_threshold import list_threshold
from analytics.estimators.risk_adjusted_cusum import Steps, run_charts
from analytics.watch_streams import DAYS_A_MONTH, Streams

LEARNING_MONTHS = 24  # nothing is watched before: what is ordinary has to be seen first
REVIEW_MONTHS = 24  # how often the threshold of the list is set anew
LAG_MONTHS = 12  # a chart's own past counts as ordinary only so long afterwards, or a fault would excuse itself
BORROWED_EVENTS = 2.0  # a chart's own rate is drawn towards its pool's as if these many events were the pool's
_SHARES = (0.0, 0.1, 0.3, 0.6)
ONE_EVENT = 1.001  # in scores of one event
EPISODE_MONTHS = 24.0  # alarms of one chart that lie closer together are one


@dataclass(frozen=True)
class LeftOut:
    """Name the months of a chart that are not ordinary work: those of an acknowledged alarm."""

    chart: int
    since: float
    until: float


@dataclass(frozen=True)
class Ordinary:
    """Hold what ordinary work brings: (charts, months) events expected, and events that the expectation rests on."""

    expected: FloatArray
    worth: FloatArray


@dataclass(frozen=True)
class Alarm:
    """Hold one alarm: the chart, times in months, what was seen since it began and what was expected.

    times: how often the chart has raised it in this episode.
    """

    chart: int
    since: float
    raised: float
    last: float
    events: int
    expected: float
    times: int
    rows: tuple[int, ...]


@dataclass(frozen=True)
class Settings:
    """Hold how the list is set: threshold (reviews), allowance (charts, reviews), and at the last review the charts
    alive and the false alarms a year that the list is then expected to raise.
    """

    threshold: FloatArray
    allowance: FloatArray
    alive: int
    promised: float


@dataclass(frozen=True)
class Ran:
    """Hold the outcome of a list: its alarms, what ordinary work brings, how it was set, and the years watched."""

    alarms: tuple[Alarm, ...]
    ordinary: Ordinary
    settings: Settings
    years: float


def ordinary_work(streams: Streams, left_out: Sequence[LeftOut] = ()) -> Ordinary:
    """Return what ordinary work would bring each chart in each month, from what was known before that month.

    Method: gamma-Poisson means: the pool's rate is drawn towards that of all charts by one event, a chart's own past
    (older than a year) towards its pool's by two; where charts are compared with others, their own record is left out.
    """
    events, exposure = streams.events, streams.exposure
    kept = np.ones_like(exposure)
    for part in left_out:
        kept[part.chart, int(part.since) : int(part.until) + 1] = 0.0
    seen, lived = _before(events * kept, 0), _before(exposure * kept, 0)
    pools = int(streams.pool.max(initial=0)) + 1
    pool_seen, pool_lived = (_by_pool(x, streams.pool, pools)[streams.pool] for x in (seen, lived))
    every = lived.sum(0)
    overall = np.where(every > 0, (seen.sum(0) + 0.5) / np.maximum(every, 1e-9), 0.0)
    if not streams.own:
        pool_seen, pool_lived = pool_seen - seen, np.maximum(pool_lived - lived, 0.0)
    rate = (pool_seen + 1) / (pool_lived + 1 / np.maximum(overall, 1e-12))
    worth = pool_seen + 1
    if streams.own:
        own_seen, own_lived = (_before(x * kept, LAG_MONTHS) for x in (events, exposure))
        rate = (own_seen + BORROWED_EVENTS) / (own_lived + BORROWED_EVENTS / rate)
        worth = own_seen + np.minimum(BORROWED_EVENTS, worth)
    return Ordinary(rate * exposure, worth)


def run_list(
    streams: Streams, alarms_a_year: float, left_out: Sequence[LeftOut] = (), settings: Settings | None = None
) -> Ran:
    """Run all charts over the months after the learning time, and return their alarms.

    Every two years the threshold and allowances of the whole list are set anew from the charts then alive, so that
    ordinary work raises at most `alarms_a_year` false alarms; or as `settings` has it. Evidence is taken in on the day
    it became known.
    """
    ordinary = ordinary_work(streams, left_out)
    settings = settings or set_list(streams, ordinary, alarms_a_year)
    falls, heights = _falls(streams, ordinary.expected, settings.allowance), settings.threshold
    chart, time = streams.event_chart, streams.event_time
    watched = np.flatnonzero(time >= LEARNING_MONTHS)
    chart, time = chart[watched], time[watched]
    part = _part_of_month(streams, chart, time)
    grown = _until(falls, chart, time, part)
    first = np.append(True, np.diff(chart) > 0) if len(chart) else np.zeros(0, bool)
    began = np.cumsum(falls, axis=1)[:, LEARNING_MONTHS - 1][chart] if streams.months > LEARNING_MONTHS else grown
    before = np.where(first, began, np.append(0.0, grown[:-1]))
    steps = Steps(np.maximum(grown - before, 0.0), np.full(len(chart), float(np.log(streams.ratio))))
    height = (
        heights[np.minimum(time.astype(np.int64) // REVIEW_MONTHS, len(heights) - 1)] if len(chart) else np.zeros(0)
    )
    run = run_charts(chart, steps, height)
    expected = _until(ordinary.expected, chart, time, part)
    alarms = _episodes(chart, time, run.alarm, run.since, expected, watched)
    return Ran(alarms, ordinary, settings, max(streams.months - LEARNING_MONTHS, 0) / 12)


def set_list(streams: Streams, ordinary: Ordinary, alarms_a_year: float) -> Settings:
    """Return threshold and allowances of each review, from the charts then alive and what they rest on."""
    heights, allowances, promised, alive = [], [], 0.0, 0
    for start in range(0, streams.months, REVIEW_MONTHS):
        span = slice(start, start + REVIEW_MONTHS)
        expected = ordinary.expected[:, span]
        yearly = expected.sum(1) * 12 / expected.shape[1]
        share = np.zeros(len(yearly))
        if streams.cases is not None:
            share = expected.sum(1) / np.maximum(streams.cases[:, span].sum(1), 1e-9)
            # Rounded down, which counts more false alarms, to few values, each of which costs an equation to solve.
            share = np.array(_SHARES)[np.searchsorted(_SHARES, share, side="right") - 1]
        there, allowance, height = np.flatnonzero(yearly > 0), np.ones(len(yearly)), float("inf")
        if len(there) and start >= LEARNING_MONTHS:
            worth = ordinary.worth[there, start]
            found = list_threshold(yearly[there], worth, streams.ratio, share[there], alarms_a_year)
            # However few charts a narrowed list has, one event by itself is no alarm: it falls short of this height.
            allowance[there], height = found.allowance, max(found.threshold, ONE_EVENT * float(np.log(streams.ratio)))
            promised, alive = float(found.alarms.sum()), len(there)
        heights.append(height)
        allowances.append(allowance)
    by_review = np.array(allowances).reshape(len(allowances), len(streams.exposure))
    return Settings(np.array(heights), by_review.T, alive, promised)


def _falls(streams: Streams, expected: FloatArray, allowance: FloatArray) -> FloatArray:
    """Return (charts, months) how far each month lets the charts fall."""
    more, by_month = streams.ratio - 1, np.repeat(allowance, REVIEW_MONTHS, axis=1)[:, : streams.months]
    if streams.cases is None:
        return np.asarray(more * expected * by_month, dtype=np.float64)
    share = np.clip(expected / np.maximum(streams.cases, 1e-9), 0.0, 0.98)
    raised = by_month * share / (1 - share + by_month * share)
    return np.asarray(streams.cases * np.log1p(more * raised), dtype=np.float64)


def _episodes(
    chart: IntArray, time: FloatArray, alarm: BoolArray, since: IntArray, expected: FloatArray, place: IntArray
) -> tuple[Alarm, ...]:
    """Return alarms, those of one chart that follow closely upon each other as one."""
    rows = np.flatnonzero(alarm)
    apart = (np.diff(chart[rows]) != 0) | (np.diff(time[rows]) >= EPISODE_MONTHS)
    bounds = [0, *(np.flatnonzero(apart) + 1).tolist(), len(rows)] if len(rows) else []
    found = []
    for start, end in pairwise(bounds):
        raised, last = int(rows[start]), int(rows[end - 1])
        first = int(since[raised])
        found.append(
            Alarm(
                int(chart[last]), float(time[first]), float(time[raised]), float(time[last]), last - first + 1,
                float(expected[last] - expected[first]), end - start, tuple(place[first : last + 1].tolist()),
            )
        )  # fmt: skip
    return tuple(found)


def _before(values: FloatArray, lag: int) -> FloatArray:
    """Return sums over the months before each month, those of the last `lag` months left out."""
    sums = np.cumsum(values, axis=1)
    shifted = np.zeros_like(values)
    shifted[:, lag + 1 :] = sums[:, : max(values.shape[1] - lag - 1, 0)]
    return shifted


def _by_pool(values: FloatArray, pool: IntArray, pools: int) -> FloatArray:
    summed = np.zeros((pools, values.shape[1]))
    np.add.at(summed, pool, values)
    return summed


def _part_of_month(streams: Streams, chart: IntArray, time: FloatArray) -> FloatArray:
    """Return for each event the share of its month's exposure that had been lived through by then.

    Events of one chart and day are laid evenly among the day's cases: a chart cannot fall below 0, and would rise by
    chance alone if all of a day's cases let it fall first and all that failed among them raised it afterwards.
    """
    month = time.astype(np.int64)
    if streams.within is None:
        return np.asarray(np.minimum(time - month, 1.0), dtype=np.float64)
    day = np.rint((time - month) * DAYS_A_MONTH).astype(np.int64)
    new = np.append(True, (np.diff(chart) != 0) | (np.diff(time) != 0)) if len(chart) else np.zeros(0, bool)
    start = np.flatnonzero(new)
    events = np.diff(np.append(start, len(chart)))
    turn = np.arange(len(chart)) - np.repeat(start, events) + 1
    before = np.where(day > 0, streams.within[chart, month, np.maximum(day - 1, 0)], 0.0)
    after = streams.within[chart, month, day]
    return np.asarray(before + (after - before) * turn / np.repeat(events, events), dtype=np.float64)


def _until(values: FloatArray, chart: IntArray, time: FloatArray, part: FloatArray) -> FloatArray:
    """Return each event's running sum of its chart's months, of its own month the part lived through."""
    month = time.astype(np.int64)
    sums = np.cumsum(values, axis=1)
    return np.asarray(sums[chart, month] - values[chart, month] * (1 - part), dtype=np.float64)
