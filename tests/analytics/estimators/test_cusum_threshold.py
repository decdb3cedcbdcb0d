"""The promise of the list: at most one false alarm a year, kept in simulated ordinary work."""

import numpy as np
import pytest

from analytics.estimators.cusum_run_length import events_to_alarm
from analytics.estimators.cusum_threshold import list_threshold
from analytics.estimators.risk_adjusted_cusum import exposure_steps, run_charts

YEARS = 200
# Poisson 99 %: 233 false alarms in 200 years at one a year (scipy.stats.poisson.ppf(.99, 200)).
MOST = 233


def ordinary_years(rng, yearly, history, ratio, years):
    """False alarms in each year of ordinary work whose baseline is estimated anew each year.

    Each chart's expectation comes from as many years of history as given, counted afresh; the threshold is that of
    the estimated list.
    """
    chart, year, events, expected, height = [], [], [], [], []
    for now in range(years):
        counted = rng.poisson(yearly * history) + 0.5
        found = list_threshold(counted / history, counted, ratio)
        raised = counted / history * found.allowance
        happened = rng.poisson(yearly)
        owner = np.append(np.repeat(np.arange(len(yearly)), happened), np.arange(len(yearly)))
        moment = np.append(rng.random(happened.sum()), np.ones(len(yearly)))
        order = np.lexsort((moment, owner))
        owner, moment, is_event = owner[order], moment[order], (np.arange(len(owner)) < happened.sum())[order]
        passed = np.where(np.diff(owner, prepend=-1) > 0, moment, np.diff(moment, prepend=0))
        chart.append(owner)
        year.append(np.full(len(owner), now))
        events.append(is_event.astype(int))
        expected.append(passed * raised[owner])
        height.append(np.full(len(owner), found.threshold))
    chart, year, events, expected, height = map(np.concatenate, (chart, year, events, expected, height))
    order = np.argsort(chart, kind="stable")
    run = run_charts(chart[order], exposure_steps(events[order], expected[order], ratio), height[order])
    return np.bincount(year[order][run.alarm], minlength=years)


@pytest.mark.parametrize("ratio", [2.0, 4.0])
def test_ordinary_work_keeps_the_promise_for_two_hundred_years(ratio):
    rng = np.random.default_rng(20260115)
    yearly = rng.gamma(0.5, 0.6, 120)
    alarms = ordinary_years(rng, yearly, 5, ratio, YEARS)
    print(f"ratio {ratio}: {alarms.sum()} alarms in {YEARS} years, at most {alarms.max()} in one")
    assert 1 <= alarms.sum() <= MOST


@pytest.mark.long
@pytest.mark.parametrize("ratio", [2.0, 3.0, 6.0])
@pytest.mark.parametrize("charts", [30, 600])
@pytest.mark.parametrize("history", [2, 8])
def test_the_promise_is_kept_over_the_range_a_workshop_meets(ratio, charts, history):
    rng = np.random.default_rng(charts)
    yearly = rng.gamma(0.5, 0.8, charts)
    alarms = ordinary_years(rng, yearly, history, ratio, YEARS)
    print(f"ratio {ratio}, {charts} charts, {history} years: {alarms.sum()} alarms, at most {alarms.max()} in one")
    assert 1 <= alarms.sum() <= MOST


def test_expectations_that_are_known_keep_the_promise_closely():
    yearly = np.full(50, 2.0)
    found = list_threshold(yearly, np.inf, 2.0)
    assert (found.allowance == 1).all()
    exact = np.sum(yearly / events_to_alarm(found.threshold, 2.0, 1.0))
    assert 0.9 <= exact <= 1.0
    assert found.alarms.sum() == pytest.approx(exact, rel=0.03)


def test_more_charts_and_weaker_baselines_need_more():
    few, many = (list_threshold(np.ones(n), 50.0, 2.0).threshold for n in (10, 1000))
    assert few < many
    strong, weak = (list_threshold(np.ones(10), worth, 2.0) for worth in (500.0, 5.0))
    assert weak.allowance[0] > strong.allowance[0]
    assert list_threshold(np.ones(10), 50.0, 2.0, alarms_a_year=0.2).threshold > few


def test_charts_of_cases_keep_the_promise():
    rng = np.random.default_rng(20260116)
    probability, cases, years = np.array([0.06, 0.12, 0.25, 0.4]), 150, 100
    found = list_threshold(cases * probability, np.inf, 2.0, probability)
    alarms = 0
    for p in probability:
        failed = rng.random(cases * years) < p
        score = np.where(failed, np.log(2.0), 0) - np.log1p(p)
        level = 0.0
        for step in score:
            level = max(level + step, 0.0)
            if level >= found.threshold:
                alarms, level = alarms + 1, 0.0
    # One a year promised; Poisson 99 % of 100 is 124.
    assert 50 <= alarms <= 124


def test_a_list_without_expectations_needs_only_one_rise():
    found = list_threshold(np.zeros(3), 5.0, 2.0)
    assert found.alarms.sum() == 0


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (([1.0], 0.0, 2.0), "worth be more than zero"),
        (([1.0], 5.0, 1.0), "ratio must be above 1"),
        (([-1.0], 5.0, 2.0), "zero"),
    ],
)
def test_refuses_impossible_input_in_words(arguments, words):
    with pytest.raises(ValueError, match=words):
        list_threshold(*arguments)
