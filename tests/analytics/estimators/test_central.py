"""Mean, median and mean absolute: scipy, exact order statistics, and coverage where units give several readings."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analytics.estimators.central import mean, mean_absolute, median
from analytics.estimators.interval import TooFew

readings = st.lists(st.floats(-5, 5, allow_subnormal=False), min_size=6, max_size=60)


@given(readings, st.sampled_from([0.8, 0.9, 0.95]))
@settings(deadline=None)
def test_one_reading_a_unit_is_students_interval(values, level):
    got, x = mean(values, level=level), np.array(values)
    error = x.std(ddof=1) / np.sqrt(len(x))
    half = stats.t.ppf((1 + level) / 2, len(x) - 1) * error
    assert got.lower == pytest.approx(x.mean() - half, abs=1e-9)
    assert got.upper == pytest.approx(x.mean() + half, abs=1e-9)


@given(st.lists(st.floats(-5, 5), min_size=6, max_size=60, unique=True))
@settings(deadline=None)
def test_one_reading_a_unit_gives_the_exact_order_statistics_of_the_median(values):
    got, ordered, n = median(values), np.sort(values), len(values)
    low, high = np.searchsorted(ordered, [got.lower, got.upper]) + 1
    assert low + high == n + 1
    # Covers at least 95 %, and the next pair of ranks inwards would not.
    assert stats.binom.cdf(high - 1, n, 0.5) - stats.binom.cdf(low - 1, n, 0.5) >= 0.95
    assert stats.binom.cdf(high - 2, n, 0.5) - stats.binom.cdf(low, n, 0.5) < 0.95


@given(readings, st.integers(0, 1000))
@settings(deadline=None)
def test_order_of_rows_does_not_move_the_last_digit(values, seed):
    order = np.random.default_rng(seed).permutation(len(values))
    unit = np.arange(len(values)) // 2
    x = np.array(values)
    for estimator in (mean, median, mean_absolute):
        assert estimator(x, unit) == estimator(x[order], unit[order])


@given(st.lists(st.floats(-5, 5), min_size=6, max_size=20), st.integers(2, 5))
@settings(deadline=None)
def test_copies_of_a_reading_are_worth_one(values, copies):
    once, copied = mean(values), mean(np.repeat(values, copies), np.repeat(np.arange(len(values)), copies))
    assert copied.lower == pytest.approx(once.lower, abs=1e-9)
    middle = median(np.repeat(values, copies), np.repeat(np.arange(len(values)), copies))
    assert middle.lower <= median(values).lower
    assert middle.upper >= median(values).upper


@pytest.mark.parametrize(("estimator", "needed"), [(mean, 3), (mean_absolute, 3), (median, 6)])
def test_says_when_units_are_too_few(estimator, needed):
    values = np.arange(2.0 * (needed - 1))
    answer = estimator(values, np.arange(len(values)) // 2)
    assert isinstance(answer, TooFew)
    assert str(answer) == f"too few to say ({needed - 1} of {needed} units)"


def test_no_spread_gives_no_width():
    assert mean_absolute([-2.0, 2.0, 2.0]).upper == 2.0


def test_refuses_readings_that_are_not_numbers():
    with pytest.raises(ValueError, match="values must be a finite number everywhere, found nan at place 1"):
        mean([1.0, np.nan, 2.0])


def coverage(seed, units, repeats, shared):
    """Share of samples whose clustered intervals hold the truth, and of plain means."""
    rng, held = np.random.default_rng(seed), np.zeros(4)
    truths = (0.0, 0.0, float(np.sqrt(2 / np.pi)))
    for _ in range(repeats):
        unit = np.repeat(np.arange(units), rng.integers(1, 6, units))
        x = np.sqrt(shared) * rng.normal(size=units)[unit] + np.sqrt(1 - shared) * rng.normal(size=len(unit))
        found = [mean(x, unit), median(x, unit), mean_absolute(x, unit), mean(x)]
        held += [one.lower <= truth <= one.upper for one, truth in zip(found, (*truths, 0.0), strict=True)]
    return held / repeats


def test_covers_what_it_promises_where_units_give_several_readings():
    clustered_mean, middle, absolute, plain = coverage(20260106, 30, 1000, 0.5)
    assert 0.93 <= clustered_mean <= 0.97
    assert 0.93 <= middle <= 0.99
    assert 0.92 <= absolute <= 0.97
    assert plain < 0.85


@pytest.mark.long
@pytest.mark.parametrize("units", [8, 15, 60])
@pytest.mark.parametrize("shared", [0.0, 0.3])
def test_covers_over_the_range_a_workshop_meets(units, shared):
    clustered_mean, middle, absolute, _ = coverage(13, units, 6000, shared)
    assert 0.93 <= clustered_mean <= 0.97
    assert 0.93 <= middle <= 0.999
    assert 0.915 <= absolute <= 0.97
