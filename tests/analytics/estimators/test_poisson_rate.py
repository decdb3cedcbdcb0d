"""Poisson limits against scipy's distributions, and their coverage where events cluster by unit."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analytics.estimators.poisson_rate import cluster_rate, observed_to_expected, rate, rate_ratio

whole = st.integers(0, 300)
exposures = st.floats(0.01, 1e4)


@given(whole, exposures, st.sampled_from([0.8, 0.95, 0.99]))
@settings(deadline=None)
def test_each_limit_leaves_its_tail(count, exposure, level):
    got, alpha = rate(count, exposure, level), (1 - level) / 2
    assert stats.poisson.cdf(count, got.upper * exposure) == pytest.approx(alpha, rel=1e-6)
    if count:
        assert stats.poisson.sf(count - 1, got.lower * exposure) == pytest.approx(alpha, rel=1e-6)
    else:
        assert got.lower == 0


@given(whole, st.floats(0.1, 100), exposures)
@settings(deadline=None)
def test_limits_scale_with_exposure(count, scale, exposure):
    one, other = rate(count, exposure), observed_to_expected(count, exposure * scale)
    assert one.upper == pytest.approx(other.upper * scale)
    assert one.lower <= one.estimate <= one.upper


@given(whole, st.integers(1, 300), exposures, exposures)
@settings(deadline=None)
def test_rate_ratio_follows_the_binomial_limits(count, other_count, exposure, other_exposure):
    got = rate_ratio(count, exposure, other_count, other_exposure)
    share = stats.binomtest(count, count + other_count).proportion_ci(method="exact")
    scale = other_exposure / exposure
    assert got.lower == pytest.approx(share.low / (1 - share.low) * scale, rel=1e-6)
    assert got.upper == pytest.approx(share.high / (1 - share.high) * scale, rel=1e-6)


@given(st.lists(st.tuples(st.integers(0, 6), st.floats(0.1, 10)), min_size=1, max_size=25))
@settings(deadline=None)
def test_units_never_narrow_the_interval(rows):
    x, e = np.array(rows).T
    got = cluster_rate(x.sum(), e.sum(), len(rows), (x * x).sum(), (x * e).sum(), (e * e).sum())
    plain = rate(x.sum(), e.sum())
    assert 0 <= got.lower <= got.estimate <= got.upper
    assert got.upper - got.lower >= (plain.upper - plain.lower) * (1 - 1e-9)


@pytest.mark.parametrize(
    ("count", "exposure", "words"),
    [(1, 0, "more than zero"), (-1, 1, "zero or more"), (1.5, 1, "whole number")],
)
def test_refuses_impossible_input_in_words(count, exposure, words):
    with pytest.raises(ValueError, match=words):
        rate(count, exposure)


@pytest.mark.parametrize(("units", "mean", "spread"), [(30, 1.0, 0.3), (100, 1.0, 0.3), (100, 1.0, 1.0)])
def test_covers_what_it_promises_when_events_cluster_by_unit(units, mean, spread):
    rng = np.random.default_rng(20260102)
    e = rng.gamma(2, 1, size=(4000, units))
    x = rng.poisson(e * mean * rng.gamma(1 / spread, spread, size=e.shape))
    got = cluster_rate(x.sum(1), e.sum(1), np.full(4000, units), (x * x).sum(1), (x * e).sum(1), (e * e).sum(1))
    plain = rate(x.sum(1), e.sum(1))
    assert 0.93 <= np.mean((got.lower <= mean) & (mean <= got.upper)) <= 0.97
    assert np.mean((plain.lower <= mean) & (mean <= plain.upper)) < 0.9
