"""Try the watch list on the workshop's own records with the labels shuffled: every alarm is then a false one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analytics.estimators.poisson_rate import rate
from analytics.watch_run import LEARNING_MONTHS, Settings, run_list
from analytics.watch_streams import Streams

SEED = 20_161_005


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

    Days and pools keep their events, so that what is shuffled away is only which of the charts alike an event
    belongs to. Seeded by `draw`.
    """
    rng = np.random.default_rng([SEED, draw])
    month, pool = streams.event_time.astype(np.int64), streams.pool[streams.event_chart]
    order = np.lexsort((streams.event_time, pool))
    chart = streams.event_chart.copy()
    for code in np.unique(pool):
        members = np.flatnonzero(streams.pool == code)
        rows = order[pool[order] == code]
        reach = np.cumsum(streams.exposure[members].T, axis=1)
        share = np.divide(reach, reach[:, -1:], out=np.zeros_like(reach), where=reach[:, -1:] > 0)
        # The months' shares end to end, so that one search finds the chart of every event of the pool.
        ladder = (np.arange(streams.months)[:, None] + share).ravel()
        place = np.searchsorted(ladder, month[rows] + rng.random(len(rows)), side="right") - month[rows] * len(members)
        chart[rows] = members[np.clip(place, 0, len(members) - 1)]
    again = np.lexsort((streams.event_time, chart))
    return replace(
        streams, event_chart=chart[again], event_time=streams.event_time[again], event_job=streams.event_job[again]
    )


def placebo(every: Sequence[tuple[Streams, Settings]], draws: int) -> Placebo:
    """Return how many false alarms the whole list, as it is set, raises on so many shuffles of the records."""
    alarms, years = 0, 0.0
    for draw in range(draws):
        alarms += sum(len(run_list(shuffled(s, draw), 1.0, settings=setting).alarms) for s, setting in every)
        years += max(max(s.months for s, _ in every) - LEARNING_MONTHS, 0) / 12
    found = rate([alarms], [max(years, 1e-9)])
    return Placebo(alarms, years, float(found.estimate[0]), float(found.lower[0]), float(found.upper[0]))
