"""Hold what a list of watch charts runs on: exposure by month and events by the day on which they became known."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import polars as pl

from analytics.estimators.arrays import FloatArray, IntArray

DAYS_TOLD = 31
DAYS_A_MONTH = float(DAYS_TOLD)  # within a calendar month time runs by the day of the month over this


@dataclass(frozen=True)
class Streams:
    """Hold the charts of one kind.

    labels: one row per chart. pool: (charts) code of the charts alike, whose record a young chart borrows. exposure:
    (charts, months) in any unit in which ordinary work brings events at a steady rate. cases: the same as counts of
    inspections where an event is a case that failed, None where events meet lasting exposure. event_chart, event_time
    (months since `first`): (events), sorted by chart, then time. event_job: the numbers
    of their jobs (job_id).
    own: whether a chart's ordinary rate is its own past; else it is that of the others in its pool.
    ratio: the worsening that is watched for. within: (charts, months, days) the share of a month's exposure lived through
    by the end of each of its days, where that is known; else it runs evenly.
    """

    kind: str
    first: dt.date
    labels: pl.DataFrame
    pool: IntArray
    exposure: FloatArray
    cases: FloatArray | None
    event_chart: IntArray
    event_time: FloatArray
    event_job: IntArray
    own: bool
    ratio: float
    within: FloatArray | None = None

    @property
    def months(self) -> int:
        """Return the number of months."""
        return int(self.exposure.shape[1])

    @property
    def events(self) -> FloatArray:
        """Return (charts, months) the events of each month."""
        place = self.event_chart * self.months + self.event_time.astype(np.int64)
        return np.bincount(place, minlength=self.exposure.size).reshape(self.exposure.shape).astype(np.float64)


def from_first_exposure(streams: Streams) -> Streams:
    """Return the streams without the months before anything was exposed, in which nothing can be learnt."""
    there = np.flatnonzero(streams.exposure.sum(0) > 0)
    begins = int(np.append(there[:1], np.floor(streams.event_time)).min(initial=streams.months))
    if begins in (0, streams.months):
        return streams
    months = streams.first.year * 12 + streams.first.month - 1 + begins
    return replace(
        streams,
        first=dt.date(months // 12, months % 12 + 1, 1),
        exposure=streams.exposure[:, begins:],
        cases=None if streams.cases is None else streams.cases[:, begins:],
        within=None if streams.within is None else streams.within[:, begins:],
        event_time=streams.event_time - begins,
    )


def in_order(one: IntArray, two: IntArray, three: IntArray) -> tuple[IntArray, IntArray, IntArray]:
    """Return rows of three whole numbers, none below nought, in their order.

    Sorted as one number each, which is ten times as quick as by three columns; the largest watch list stays far below
    the largest number there is.
    """
    twos, threes = int(two.max(initial=0)) + 1, int(three.max(initial=0)) + 1
    one, rest = np.divmod(np.sort((one * twos + two) * threes + three), twos * threes)
    two, three = np.divmod(rest, threes)
    return one, two, three


def month_number(first: dt.date, day: dt.date) -> int:
    """Return how many months `day`'s month lies after `first`'s."""
    return (day.year - first.year) * 12 + day.month - first.month


def time_of(first: dt.date, days: npt.NDArray[np.datetime64]) -> FloatArray:
    """Return days as months since `first`'s month began."""
    months = days.astype("datetime64[M]")
    since = (months - np.datetime64(first, "M")).astype(np.int64)
    return np.asarray(since + (days - months).astype(np.int64) / DAYS_A_MONTH, dtype=np.float64)


def day_of(first: dt.date, time: float) -> dt.date:
    """Return the day that lies `time` months after `first`'s month began."""
    months = first.month - 1 + int(time)
    start = dt.date(first.year + months // 12, months % 12 + 1, 1)
    return start + dt.timedelta(days=round((time - int(time)) * DAYS_A_MONTH))


def lay_out(months: int, chart: IntArray, start: IntArray, lasting: IntArray, count: FloatArray, weight: FloatArray,
            charts: int) -> FloatArray:  # fmt: skip
    """Return (charts, months) the exposure of cohorts that begin in a month and last for some.

    chart, start, lasting, count: (cohorts) code, month, months observed, how many; weight: (ages) exposure that one
    brings in each month of its age.
    """
    laid = np.zeros(charts * months)
    for age, worth in enumerate(weight):
        alive = (lasting > age) & (start + age < months)
        if not alive.any():
            break
        laid += np.bincount(chart[alive] * months + start[alive] + age, count[alive] * worth, charts * months)
    return laid.reshape(charts, months)
