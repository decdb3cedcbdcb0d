"""Charts against a plain loop and against the likelihood they add up, and their speed."""

import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analytics.estimators.risk_adjusted_cusum import Steps, binary_steps, exposure_steps, run_charts

rows = st.lists(st.tuples(st.integers(0, 5), st.floats(0, 1.5), st.floats(-1, 1.5)), min_size=0, max_size=60).map(
    lambda rows: sorted(rows, key=lambda row: row[0])
)


def plain_loop(chart, fall, rise, threshold):
    statistic, alarm, since, level, began, last = [], [], [], 0.0, -1, None
    for row, code in enumerate(chart):
        if code != last:
            level, began, last = 0.0, -1, code
        level = max(level - fall[row], 0.0)
        if level == 0:
            began = row
        level = max(level + rise[row], 0.0)
        statistic.append(level)
        since.append(began if level > 0 else -1)
        alarm.append(level >= threshold)
        if alarm[-1]:
            level = 0.0
    return statistic, alarm, since


@given(rows, st.floats(0.5, 4))
@settings(deadline=None)
def test_side_by_side_is_the_same_as_one_after_the_other(data, threshold):
    chart, fall, rise = (np.array([row[k] for row in data]) for k in range(3))
    got = run_charts(chart.astype(int), Steps(fall.astype(float), rise.astype(float)), threshold)
    statistic, alarm, since = plain_loop(chart, fall, rise, threshold)
    assert got.statistic.tolist() == statistic
    assert got.alarm.tolist() == alarm
    assert got.since.tolist() == since


def test_binary_score_is_the_log_likelihood_ratio():
    p, ratio = np.array([0.05, 0.4, 0.9]), 3.0
    worse = ratio * p / (1 - p + ratio * p)
    for y in (0, 1):
        wanted = stats.bernoulli.logpmf(y, worse) - stats.bernoulli.logpmf(y, p)
        assert binary_steps(y, p, ratio).rise == pytest.approx(wanted)


def test_exposure_score_is_the_log_likelihood_ratio():
    expected, events = np.array([0.2, 3.0, 0.0]), np.array([0, 5, 0])
    wanted = stats.poisson.logpmf(events, 2.5 * expected) - stats.poisson.logpmf(events, expected)
    steps = exposure_steps(events, expected, 2.5)
    assert steps.rise - steps.fall == pytest.approx(wanted)
    assert exposure_steps(events, expected, 2.5, spread=True).rise == pytest.approx(wanted)


def test_says_since_when():
    # Quiet for long, then three events in a row on hardly any exposure.
    steps = exposure_steps([1, 1, 1, 1, 1], [3.0, 3.0, 3.0, 0.1, 0.1], 4)
    got = run_charts([0] * 5, steps, 3.0)
    assert got.alarm.tolist() == [False, False, False, False, True]
    assert got.since[4] == 2


def test_the_change_point_is_that_of_greatest_likelihood():
    rng = np.random.default_rng(8)
    events = np.append(rng.poisson(1.0, 30), rng.poisson(3.0, 10))
    got = run_charts(np.zeros(40, int), exposure_steps(events, np.ones(40), 3.0, spread=True), 1e9)
    best = max(range(40), key=lambda start: np.sum((events * np.log(3.0) - 2.0)[start:]))
    assert got.since[-1] == best


def test_thousands_of_charts_take_under_a_second():
    rng = np.random.default_rng(9)
    chart = np.sort(rng.integers(0, 5000, 300_000))
    started = time.perf_counter()
    run_charts(chart, exposure_steps(rng.poisson(0.2, 300_000), np.full(300_000, 0.2), 2.0), 5.0)
    assert time.perf_counter() - started < 1.0


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: binary_steps([2], [0.1], 2), "0 or 1"),
        (lambda: binary_steps([1], [1.0], 2), "strictly between"),
        (lambda: binary_steps([1], [0.1], 1), "above 1"),
        (lambda: exposure_steps([1], [-0.1], 2), "zero or more"),
        (lambda: run_charts([1, 0], exposure_steps([1, 1], [1, 1], 2), 3), "sorted by chart"),
        (lambda: run_charts([0], exposure_steps([1, 1], [1, 1], 2), 3), "one length"),
    ],
)
def test_refuses_impossible_input_in_words(call, words):
    with pytest.raises(ValueError, match=words):
        call()
