"""Delays: against the product limit on reversed data, against the truth of truncated samples, and prediction."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.estimators.interval import TooFew
from analytics.estimators.kaplan_meier import kaplan_meier
from analytics.estimators.reporting_delay import complete_cohorts, delay_distribution

delays = st.lists(
    st.integers(1, 30).flatmap(lambda w: st.tuples(st.integers(0, w), st.just(w))), min_size=10, max_size=60
)


@given(delays)
@settings(deadline=None)
def test_is_the_product_limit_in_reversed_time(data):
    delay, window = np.array(data).T
    got = delay_distribution(delay, window, horizon=30)
    # Reversed at 31; half a day makes "followed exactly as long" count as at risk.
    turned = kaplan_meier(31 - delay, np.ones(len(delay)), entry=31 - window - 0.5)
    beyond = turned.at(31 - got.delay - 0.5).estimate[0]
    assert got.share == pytest.approx(beyond, abs=1e-12)
    assert (np.diff(got.share) >= 0).all()
    assert got.share[-1] == 1


def test_without_truncation_it_is_the_plain_distribution():
    delay = np.array([1, 1, 2, 4, 4, 4, 5, 7, 8, 9])
    got = delay_distribution(delay, np.full(10, 9))
    assert got.share == pytest.approx([0.2, 0.3, 0.6, 0.7, 0.8, 0.9, 1.0])
    share, _ = got.at([0.5, 3, 100])
    assert share == pytest.approx([0, 0.3, 1])


def truncated(rng, jobs, mean):
    age = rng.uniform(0, 24, jobs)
    delay = rng.exponential(mean, jobs)
    # Nothing takes longer than the horizon, so that the truth is within it.
    delay = np.where(delay > 24, rng.uniform(0, 24, jobs), delay)
    return age, delay, delay <= age


def test_recovers_the_delays_that_truncation_hides():
    rng = np.random.default_rng(20260117)
    age, delay, seen = truncated(rng, 4000, 8)
    got = delay_distribution(delay[seen], age[seen])
    share, variance = got.at([3, 6, 12])
    truth = [np.mean(delay <= months) for months in (3, 6, 12)]
    assert np.all(np.abs(share - truth) < 3 * share * np.sqrt(variance))
    # The plain share of those seen is far off.
    assert np.mean(delay[seen] <= 6) > truth[1] + 0.1


def test_prediction_holds_what_young_quarters_come_to():
    rng, held, plain, tried = np.random.default_rng(20260118), 0, 0, 0
    for _ in range(150):
        age, delay, seen = truncated(rng, 600, 8)
        got = delay_distribution(delay[seen], age[seen])
        quarter, within = (age // 3).astype(int), delay <= got.horizon
        counted = np.bincount(quarter[seen & within], minlength=8)
        total = np.bincount(quarter[within], minlength=8)
        found = complete_cohorts(got, quarter, age, counted)
        held += np.sum((found.lower <= total[found.cohort]) & (total[found.cohort] <= found.upper))
        plain += np.sum((counted == total)[:6])
        tried += len(found.cohort)
    assert 0.93 <= held / tried <= 0.985
    assert plain / tried < 0.05


def test_says_when_a_cohort_is_too_young_and_delays_too_few():
    curve = delay_distribution(np.tile([2, 3, 4, 6, 8], 4), np.full(20, 12))
    got = complete_cohorts(curve, [0, 0, 1, 1], [12, 11, 1, 1], [1, 0])
    assert got.cohort.tolist() == [0]
    assert [str(words) for _, words in got.too_few] == ["too few to say (0 of 10 percent known by now)"]
    assert (got.estimate, got.lower, got.upper) == (1, 1, 1)
    answer = delay_distribution([1, 2], [3, 3])
    assert str(delay_distribution(np.arange(20), np.full(20, 30), horizon=4)) == "too few to say (5 of 10 delays)"
    assert isinstance(answer, TooFew)
    assert str(answer) == "too few to say (2 of 10 delays)"


def test_refuses_delays_longer_than_their_window():
    with pytest.raises(ValueError, match="not exceed the window"):
        delay_distribution([5], [4])
