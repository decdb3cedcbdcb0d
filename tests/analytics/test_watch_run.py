"""The watch list on invented streams: quiet in ordinary work, quick on a bad lot, and honest about what is ordinary."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analytics.watch_placebo import placebo, shuffled
from analytics.watch_power import power_table
from analytics.watch_run import LEARNING_MONTHS, LeftOut, ordinary_work, run_list
from analytics.watch_streams import Streams, day_of, lay_out, time_of

FIRST = dt.date(2016, 10, 1)
# Poisson 99 % about one false alarm a year: of 200 years at most 233 (scipy.stats.poisson.ppf(.99, 200)), of 48 at most 65.
MOST_IN_200_YEARS, MOST_IN_48_YEARS = 233, 65


def streams_of(
    seed: int, charts: int = 60, months: int = 120, own: bool = True, ratio: float = 3.0, worse: float = 1.0,
    mean: float = 0.02,
) -> Streams:  # fmt: skip
    """Return streams of ordinary work; chart 0 becomes `worse` times as bad after six years."""
    rng = np.random.default_rng(seed)
    exposure = rng.gamma(2.0, 0.5, (charts, months))
    rate = mean * (rng.gamma(4.0, 0.25, charts) if own else np.ones(charts))
    expected = exposure * rate[:, None]
    expected[0, 72:] *= worse
    count = rng.poisson(expected)
    chart, month = np.nonzero(count)
    chart, month = np.repeat(chart, count[chart, month]), np.repeat(month, count[chart, month])
    time = month + rng.random(len(month))
    order = np.lexsort((time, chart))
    labels = pl.DataFrame({"component": [f"c{i}" for i in range(charts)]})
    pool = np.arange(charts) % 6
    jobs = np.arange(len(order))
    return Streams("comebacks", FIRST, labels, pool, exposure, None, chart[order], time[order], jobs, own, ratio)


def false_alarms(years: int, seed: int) -> tuple[int, int]:
    """Return false alarms of a list of three kinds in so many years of ordinary work, and of the largest year."""
    by_year: list[int] = []
    for replicate in range(years // 8):
        days = np.zeros(8, int)
        for kind, (own, ratio) in enumerate(((True, 3.0), (False, 5.0), (True, 2.0))):
            found = run_list(streams_of(seed + 10 * replicate + kind, own=own, ratio=ratio), 1 / 3)
            for alarm in found.alarms:
                days[min(int((alarm.raised - LEARNING_MONTHS) // 12), 7)] += 1
        by_year += days.tolist()
    return sum(by_year), max(by_year)


def test_ordinary_work_raises_few_alarms() -> None:
    alarms, _ = false_alarms(48, seed=1000)
    assert alarms <= MOST_IN_48_YEARS


@pytest.mark.long
def test_two_hundred_years_of_ordinary_work(record_property: pytest.RecordProperty) -> None:
    alarms, largest = false_alarms(200, seed=5000)
    record_property("alarms", alarms)
    record_property("largest_year", largest)
    assert 1 <= alarms <= MOST_IN_200_YEARS


def cases_on_busy_days(seed: int, share: float, charts: int = 20, months: int = 120, cases: int = 40) -> Streams:
    """Return charts of cases of which a share fails; all cases of a month come on one day of it."""
    rng = np.random.default_rng(seed)
    day = rng.integers(0, 28, (charts, months))
    failed = rng.binomial(cases, share, (charts, months))
    chart, month = np.nonzero(failed)
    chart, month = np.repeat(chart, failed[chart, month]), np.repeat(month, failed[chart, month])
    within = (np.arange(31) >= day[:, :, None]).astype(float)
    counts = np.full((charts, months), float(cases))
    labels = pl.DataFrame({"component": [f"c{i}" for i in range(charts)]})
    time = month + day[chart, month] / 31
    return Streams(
        "findings", FIRST, labels, np.arange(charts) % 4, counts, counts, chart, time, np.arange(len(chart)), True, 2.0,
        within,
    )  # fmt: skip


@pytest.mark.parametrize("share", [0.1, 0.45, 0.8])
def test_a_busy_day_of_ordinary_work_raises_no_alarm_by_itself(share: float) -> None:
    ran = [run_list(cases_on_busy_days(seed, share), 1 / 3) for seed in range(3)]
    # Poisson 99 % of one false alarm in three years, over so many.
    assert sum(len(one.alarms) for one in ran) <= stats.poisson.ppf(0.99, sum(one.years for one in ran) / 3)


def test_what_becomes_worse_is_seen_on_busy_days_too() -> None:
    ordinary, worse = cases_on_busy_days(1, 0.2), cases_on_busy_days(2, 0.5)
    later = (worse.event_chart == 0) & (worse.event_time >= 72)
    kept = (ordinary.event_chart != 0) | (ordinary.event_time < 72)
    time = np.append(worse.event_time[later], ordinary.event_time[kept])
    chart = np.append(worse.event_chart[later], ordinary.event_chart[kept])
    order = np.lexsort((time, chart))
    assert ordinary.within is not None
    assert worse.within is not None
    within = ordinary.within.copy()
    within[0, 72:] = worse.within[0, 72:]
    streams = replace(
        ordinary, event_chart=chart[order], event_time=time[order], event_job=np.arange(len(order)), within=within
    )
    alarms = [alarm for alarm in run_list(streams, 1 / 3).alarms if alarm.chart == 0]
    assert len(alarms) >= 1
    assert 72 <= alarms[0].raised < 75


@pytest.mark.parametrize("share", [0.45, 0.95, 1.0])
def test_shuffled_cases_fail_once_and_on_their_own_day(share: float) -> None:
    streams = cases_on_busy_days(3, share, charts=8, months=30)
    again = shuffled(streams, 1)
    assert streams.cases is not None
    assert streams.within is not None
    assert again.events.sum() == streams.events.sum()
    assert (again.events <= streams.cases).all()
    month = again.event_time.astype(int)
    day = np.rint((again.event_time - month) * 31).astype(int)
    came = streams.within[again.event_chart, month]
    assert (came[np.arange(len(day)), day] == 1).all()
    assert (came[np.arange(len(day)), np.maximum(day - 1, 0)][day > 0] == 0).all()


def test_something_that_becomes_worse_is_seen_within_a_dozen_events() -> None:
    caught = 0
    for seed in range(10):
        streams = streams_of(seed, worse=10.0, mean=0.05)
        mine = [a for a in run_list(streams, 1 / 3).alarms if a.chart == 0 and a.raised >= 72]
        if mine:
            its = streams.event_time[streams.event_chart == 0]
            caught += np.count_nonzero((its >= 72) & (its <= mine[0].raised)) <= 12
    assert caught >= 9


def test_a_faults_own_months_leave_what_is_ordinary_once_acknowledged() -> None:
    streams = streams_of(3, worse=12.0, mean=0.05)
    plain = ordinary_work(streams)
    without = ordinary_work(streams, [LeftOut(0, 72.0, 100.0)])
    assert without.expected[0, 119] < plain.expected[0, 119]
    # A chart of another pool borrows nothing from it.
    other = int(np.flatnonzero(streams.pool != streams.pool[0])[0])
    assert without.expected[other, 60] == pytest.approx(plain.expected[other, 60])


def test_others_only_leaves_a_lot_out_of_its_own_expectation() -> None:
    streams = streams_of(4, own=False)
    more = np.flatnonzero(streams.event_chart == 1)
    doubled = Streams(
        "lots", FIRST, streams.labels, streams.pool, streams.exposure, None,
        np.insert(streams.event_chart, more, 1), np.insert(streams.event_time, more, streams.event_time[more]),
        np.append(streams.event_job, more), False, 5.0,
    )  # fmt: skip
    ours, theirs = ordinary_work(streams), ordinary_work(doubled)
    last = streams.months - 1
    overall = theirs.expected[1, last] / ours.expected[1, last]
    # Only through the rate of all charts, worth a single event.
    assert overall == pytest.approx(1.0, abs=0.1)


@given(st.lists(st.tuples(st.integers(0, 2), st.integers(0, 9), st.integers(1, 12), st.integers(1, 5)), max_size=12))
@settings(deadline=None)
def test_cohorts_are_laid_out_month_by_month(cohorts: list[tuple[int, int, int, int]]) -> None:
    weight = np.array([1.0, 0.5, 0.25] + [0.1] * 9)
    rows = np.array(cohorts, dtype=np.int64).reshape(-1, 4)
    laid = lay_out(12, rows[:, 0], rows[:, 1], rows[:, 2], rows[:, 3].astype(float), weight, 3)
    wanted = np.zeros((3, 12))
    for chart, start, lasting, count in cohorts:
        for age in range(min(lasting, 12 - start)):
            wanted[chart, start + age] += count * weight[age]
    assert laid == pytest.approx(wanted)


@given(st.dates(dt.date(2016, 10, 1), dt.date(2030, 12, 31)))
def test_days_and_months_lead_back(day: dt.date) -> None:
    assert day_of(FIRST, float(time_of(FIRST, np.array([day], "datetime64[D]"))[0])) == day


def test_shuffling_keeps_days_and_pools_and_is_seeded() -> None:
    streams = streams_of(5)
    once, again = shuffled(streams, 1), shuffled(streams, 1)
    assert np.array_equal(once.event_chart, again.event_chart)
    assert np.array_equal(np.sort(once.event_time), np.sort(streams.event_time))
    count = [np.bincount(s.pool[s.event_chart], minlength=6) for s in (streams, once)]
    assert np.array_equal(*count)
    assert np.all(np.diff(once.event_chart) >= 0)


def test_placebo_counts_what_the_promise_allows() -> None:
    streams = streams_of(6)
    found = placebo([(streams, run_list(streams, 1.0).settings)], 5)
    assert found.years == 40
    assert found.lower <= found.a_year <= found.upper
    assert found.a_year < 2


def test_power_rises_with_pieces_and_with_how_bad_they_are() -> None:
    table = power_table([run_list(streams_of(7, own=False, ratio=5.0), 1 / 3).settings], 5.0)
    for _, part in table.sort("fitted").group_by("odds_ratio", maintain_order=True):
        assert part["caught"].is_sorted()
    assert table.filter((pl.col("odds_ratio") == 20) & (pl.col("fitted") == 150))["caught"][0] > 0.95


def test_one_event_by_itself_is_no_alarm_however_short_the_list() -> None:
    seen = 0
    for seed in range(20):
        alarms = run_list(streams_of(seed, charts=3, mean=0.004, worse=30.0), 1 / 3).alarms
        assert all(alarm.events >= 2 for alarm in alarms)
        seen += len(alarms)
    assert seen > 0


def test_short_records_only_teach() -> None:
    assert run_list(streams_of(8, months=20), 1.0).alarms == ()
