"""Try the watch list on the workshop's own records with the labels shuffled: every alarm is then a false one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analytics.estimators.arrays import FloatArray, IntArray
from analytics.estimators.poisson_rate import rate
from analytics.watch_run import LEARNING_MONTHS, Settings, run_list
from analytics.watch_streams import DAYS_TOLD, Streams

SEED = 20_161_005
MOST_ROUNDS = 10
AT_ONCE = 5  # shuffles run side by side


@dataclass(frozen=True)
class Placebo:
    """Hold the outcome: false alarms in so many years of shuffled records, and their rate a year with limits."""

    alarms: int
    years: float
    a_year: float
    lower: float
    upper: float


def shuffled(streams: Streams, draw: int) -> Streams:
    """Return the streams with each event given to a chart of its pool at random, by their exposure in its month.

    Months and pools keep their events, so that what is shuffled away is only which of the charts alike an event
    belongs to. Where an event is a case that failed, no case fails twice, and the event takes the day of its new case.
    Seeded by `draw`.
    """
    rng = np.random.default_rng([SEED, draw])
    month = streams.event_time.astype(np.int64)
    chart, time = streams.event_chart.copy(), streams.event_time.copy()
    for pool, rows in _by_pool(streams):
        members = np.flatnonzero(streams.pool == pool)
        cases = None if streams.cases is None else np.floor(streams.cases[members]).astype(np.int64)
        place, case = _given_out(rng, month[rows], streams.exposure[members], cases)
        chart[rows] = members[place]
        if cases is not None and streams.within is not None:
            time[rows] = month[rows] + _day_of_cases(streams.within[members], cases)[case] / DAYS_TOLD
    again = np.argsort(chart * (streams.months + 1) + time)  # events of one chart and day are alike
    return replace(streams, event_chart=chart[again], event_time=time[again], event_job=streams.event_job[again])


def _day_of_cases(within: FloatArray, cases: IntArray) -> IntArray:
    """Return the day of the month of each case, the cases listed by chart and month."""
    seen = np.rint(within * cases[:, :, None]).astype(np.int64)
    come = np.diff(seen, axis=2, prepend=0)
    come[:, :, -1] += cases - seen[:, :, -1]
    return np.repeat(np.broadcast_to(np.arange(DAYS_TOLD), come.shape).ravel(), come.ravel())


def _given_out(
    rng: np.random.Generator, month: IntArray, exposure: FloatArray, cases: IntArray | None
) -> tuple[IntArray, IntArray]:
    """Return which of some charts (rows of exposure) each event is given to, and which case it is of all listed by chart
    and month.

    month: (events). An event that falls on a case that has failed already is drawn again: drawing one after the other
    without putting back. What is left after `MOST_ROUNDS`, where nearly every case fails, is given to any that are free.
    """
    reach = np.cumsum(exposure.T, axis=1)
    share = np.divide(reach, reach[:, -1:], out=np.zeros_like(reach), where=reach[:, -1:] > 0)
    # The months' shares end to end, so that one search finds the chart of every event.
    ladder = (np.arange(len(share))[:, None] + share).ravel()
    given, case, left = np.empty(len(month), np.int64), np.zeros(len(month), np.int64), np.arange(len(month))
    there = np.zeros((1, 0), np.int64) if cases is None else cases
    begins = np.cumsum(there).reshape(there.shape) - there
    failed = np.zeros(int(there.sum()), bool)
    for _ in range(MOST_ROUNDS):
        when = month[left]
        place = np.searchsorted(ladder, when + rng.random(len(left)), side="right") - when * len(exposure)
        given[left] = place = np.clip(place, 0, len(exposure) - 1)
        if cases is None or not len(left):
            break
        case[left] = drawn = begins[place, when] + (rng.random(len(left)) * there[place, when]).astype(np.int64)
        turn = np.arange(len(left))
        first = np.empty(len(failed), np.int64)
        first[drawn[::-1]] = turn[::-1]
        kept = ~failed[drawn] & (first[drawn] == turn)
        failed[drawn[kept]] = True
        left = left[~kept]
    for when in np.unique(month[left]) if cases is not None else ():
        owner = np.repeat(np.arange(len(there)), there[:, when])
        number = np.arange(len(owner)) - np.repeat(np.cumsum(there[:, when]) - there[:, when], there[:, when])
        free = np.flatnonzero(~failed[begins[owner, when] + number])
        rows = left[month[left] == when][: len(free)]
        chosen = rng.choice(free, len(rows), replace=False)
        given[rows], case[rows] = owner[chosen], begins[owner[chosen], when] + number[chosen]
    return given, case


def _by_pool(streams: Streams) -> Iterator[tuple[int, IntArray]]:
    """Yield each pool that has events, with their rows."""
    pool = streams.pool[streams.event_chart]
    order = np.argsort(pool.astype(np.min_scalar_type(int(pool.max(initial=0)))), kind="stable")
    codes, start = np.unique(pool[order], return_index=True)
    yield from zip(codes.tolist(), np.split(order, start)[1:], strict=True)


def placebo(every: Sequence[tuple[Streams, Settings]], draws: int) -> Placebo:
    """Return how many false alarms the whole list, as it is set, raises on so many shuffles of the records."""
    alarms = 0
    for begin in range(0, draws, AT_ONCE):
        some = range(begin, min(begin + AT_ONCE, draws))
        for streams, settings in every:
            beside = _side_by_side([shuffled(streams, draw) for draw in some])
            tiled = replace(settings, allowance=np.tile(settings.allowance, (len(some), 1)))
            alarms += len(run_list(beside, 1.0, settings=tiled).alarms)
    years = draws * max(max((s.months for s, _ in every), default=0) - LEARNING_MONTHS, 0) / 12
    found = rate([alarms], [max(years, 1e-9)])
    return Placebo(alarms, years, float(found.estimate[0]), float(found.lower[0]), float(found.upper[0]))


def _side_by_side(shuffles: Sequence[Streams]) -> Streams:
    """Return shuffles of one list as one list in which each has charts and pools of its own.

    What is ordinary stays the same, since all shuffles have the same months of events and exposure; the charts are run row
    by row, so that many cost hardly more than one.
    """
    one, times = shuffles[0], len(shuffles)
    charts, pools = len(one.exposure), int(one.pool.max(initial=0)) + 1
    return replace(
        one,
        pool=np.concatenate([one.pool + place * pools for place in range(times)]),
        exposure=np.tile(one.exposure, (times, 1)),
        cases=None if one.cases is None else np.tile(one.cases, (times, 1)),
        within=None if one.within is None else np.tile(one.within, (times, 1, 1)),
        event_chart=np.concatenate([s.event_chart + place * charts for place, s in enumerate(shuffles)]),
        event_time=np.concatenate([s.event_time for s in shuffles]),
        event_job=np.concatenate([s.event_job for s in shuffles]),
    )
