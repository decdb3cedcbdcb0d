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
        cases = None if streams.cases is None else streams.cases[members]
        place, case = _given_out(rng, month[rows], streams.exposure[members], cases)
        chart[rows] = members[place]
        if streams.within is not None and streams.cases is not None:
            part = (case + 0.5) / np.maximum(streams.cases[chart[rows], month[rows]], 1.0)
            days = (streams.within[chart[rows], month[rows]] < part[:, None]).sum(1)
            time[rows] = month[rows] + np.minimum(days, DAYS_TOLD - 1) / DAYS_TOLD
    again = np.lexsort((time, chart))
    return replace(streams, event_chart=chart[again], event_time=time[again], event_job=streams.event_job[again])


def _given_out(
    rng: np.random.Generator, month: IntArray, exposure: FloatArray, cases: FloatArray | None
) -> tuple[IntArray, IntArray]:
    """Return which of some charts (rows of exposure) each event is given to, and which of its month's cases it is.

    month: (events). An event that falls on a case that has failed already is drawn again: drawing one after the other
    without putting back. What is left after `MOST_ROUNDS`, where nearly every case fails, is given to any that are free.
    """
    reach = np.cumsum(exposure.T, axis=1)
    share = np.divide(reach, reach[:, -1:], out=np.zeros_like(reach), where=reach[:, -1:] > 0)
    # The months' shares end to end, so that one search finds the chart of every event.
    ladder = (np.arange(len(share))[:, None] + share).ravel()
    whole = np.floor(exposure * 0 if cases is None else cases).astype(np.int64)
    begins = np.cumsum(whole).reshape(whole.shape) - whole
    failed = np.zeros(int(whole.sum()), bool)
    given, of_month, left = np.empty(len(month), np.int64), np.zeros(len(month), np.int64), np.arange(len(month))
    for _ in range(MOST_ROUNDS):
        when = month[left]
        place = np.searchsorted(ladder, when + rng.random(len(left)), side="right") - when * len(exposure)
        given[left] = place = np.clip(place, 0, len(exposure) - 1)
        if cases is None or not len(left):
            break
        of_month[left] = drawn = (rng.random(len(left)) * whole[place, when]).astype(np.int64)
        case, turn = begins[place, when] + drawn, np.arange(len(left))
        first = np.empty(len(failed), np.int64)
        first[case[::-1]] = turn[::-1]
        kept = ~failed[case] & (first[case] == turn)
        failed[case[kept]] = True
        left = left[~kept]
    for when in np.unique(month[left]) if cases is not None else ():
        owner = np.repeat(np.arange(len(whole)), whole[:, when])
        number = np.arange(len(owner)) - np.repeat(np.cumsum(whole[:, when]) - whole[:, when], whole[:, when])
        free = np.flatnonzero(~failed[begins[owner, when] + number])
        rows = left[month[left] == when][: len(free)]
        chosen = rng.choice(free, len(rows), replace=False)
        given[rows], of_month[rows] = owner[chosen], number[chosen]
    return given, of_month


def _by_pool(streams: Streams) -> Iterator[tuple[int, IntArray]]:
    """Yield each pool that has events, with their rows in order of time."""
    pool = streams.pool[streams.event_chart]
    order = np.lexsort((streams.event_time, pool))
    codes, start = np.unique(pool[order], return_index=True)
    yield from zip(codes.tolist(), np.split(order, start)[1:], strict=True)


def placebo(every: Sequence[tuple[Streams, Settings]], draws: int) -> Placebo:
    """Return how many false alarms the whole list, as it is set, raises on so many shuffles of the records."""
    alarms, years = 0, 0.0
    for draw in range(draws):
        alarms += sum(len(run_list(shuffled(s, draw), 1.0, settings=setting).alarms) for s, setting in every)
        years += max(max(s.months for s, _ in every) - LEARNING_MONTHS, 0) / 12
    found = rate([alarms], [max(years, 1e-9)])
    return Placebo(alarms, years, float(found.estimate[0]), float(found.lower[0]), float(found.upper[0]))
