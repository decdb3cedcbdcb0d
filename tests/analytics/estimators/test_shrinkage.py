"""Shrunk estimates: limits of no and of all spread, direct integration, smaller error, and coverage."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from analytics.estimators.interval import TooFew
from analytics.estimators.shrinkage import beta_binomial, gamma_poisson, james_stein

counts = st.lists(
    st.integers(1, 60).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))), min_size=4, max_size=20
)


@given(counts, st.integers(0, 1000))
@settings(deadline=None)
def test_shrunk_lies_between_raw_and_common_and_order_does_not_matter(rows, seed):
    x, n = np.array(rows).T
    order = np.random.default_rng(seed).permutation(len(x))
    for estimator in (beta_binomial, gamma_poisson):
        got, other = estimator(x, n), estimator(x[order], n[order])
        assert (got.lower <= got.shrunk).all()
        assert (got.shrunk <= got.upper).all()
        assert ((got.kept > 0) & (got.kept < 1)).all()
        assert np.array_equal(other.upper, got.upper[order])
        # A group keeps more of its own distance the more was inspected.
        assert (np.diff(got.kept[np.argsort(n)]) >= -1e-12).all()


def test_groups_all_alike_are_drawn_together_and_very_unlike_ones_hardly_move():
    alike = beta_binomial([10] * 30, [100] * 30)
    assert alike.kept.max() < 0.1
    unlike = beta_binomial([10, 190, 100, 20, 180, 60] * 3, [200] * 18)
    assert unlike.kept.min() > 0.9
    assert unlike.shrunk == pytest.approx(unlike.raw, abs=0.02)
    assert gamma_poisson([20] * 30, [10.0] * 30).kept.max() < 0.1
    assert gamma_poisson([5, 400, 90, 1500] * 3, [10.0] * 12).kept.min() > 0.9


def test_posterior_mean_agrees_with_direct_integration():
    x, n = np.array([0, 2, 9, 4, 1]), np.array([10, 12, 20, 30, 6])
    typical = stats.hmean(n)

    def density(pull, mean):
        strength = typical * pull / (1 - pull)
        return np.exp(np.sum(stats.betabinom.logpmf(x, n, mean * strength, (1 - mean) * strength)))

    def times_own(pull, mean):
        strength = typical * pull / (1 - pull)
        return density(pull, mean) * (mean * strength + x[2]) / (strength + n[2])

    top, _ = integrate.dblquad(times_own, 0.005, 0.995, 0.005, 0.995, epsabs=1e-14, epsrel=1e-4)
    bottom, _ = integrate.dblquad(density, 0.005, 0.995, 0.005, 0.995, epsabs=1e-14, epsrel=1e-4)
    assert beta_binomial(x, n).shrunk[2] == pytest.approx(top / bottom, abs=2e-3)


def test_james_stein_formula():
    got = james_stein([1.0, 2.0, 3.0, 6.0, 8.0], 4.0)
    # Mean 4, squares about it 34, factor 1 - 2 x 4 / 34.
    assert got.kept[0] == pytest.approx(1 - 8 / 34)
    assert got.shrunk == pytest.approx(4 + (1 - 8 / 34) * np.array([-3, -2, -1, 2, 4]))
    assert james_stein([3.0] * 5, 1.0).shrunk == pytest.approx(np.full(5, 3.0))


def test_says_when_groups_are_too_few():
    for answer in (
        james_stein([1.0, 2.0, 3.0], 1.0),
        beta_binomial([1, 1, 1], [2, 2, 2]),
        gamma_poisson([1, 1, 1], [2, 2, 2]),
    ):
        assert isinstance(answer, TooFew)
        assert str(answer) == "too few to say (3 of 4 groups)"


def test_refuses_impossible_counts():
    with pytest.raises(ValueError, match="not exceed"):
        beta_binomial([3, 1, 1, 1], [2, 2, 2, 2])
    with pytest.raises(ValueError, match="more than zero"):
        gamma_poisson([1, 1, 1, 1], [0, 1, 1, 1])


def test_covers_and_errs_less_than_the_raw_rates():
    rng, held, errors = np.random.default_rng(20260109), np.zeros(3), np.zeros((2, 2))
    repeats = 250
    for _ in range(repeats):
        truth = rng.beta(8, 32, 20)
        inspected = rng.integers(10, 80, 20)
        got = beta_binomial(rng.binomial(inspected, truth), inspected)
        held[0] += np.mean((got.lower <= truth) & (truth <= got.upper))
        errors[0] += [np.sum((got.raw - truth) ** 2), np.sum((got.shrunk - truth) ** 2)]
        rate = rng.gamma(5, 0.2, 20)
        exposure = rng.uniform(2, 20, 20)
        got = gamma_poisson(rng.poisson(exposure * rate), exposure)
        held[1] += np.mean((got.lower <= rate) & (rate <= got.upper))
        errors[1] += [np.sum((got.raw - rate) ** 2), np.sum((got.shrunk - rate) ** 2)]
        level = 2 * rng.normal(size=20)
        stein = james_stein(level + rng.normal(size=20), 1.0)
        held[2] += np.mean((stein.lower <= level) & (level <= stein.upper))
    assert ((held / repeats > 0.925) & (held / repeats < 0.975)).all()
    assert (errors[:, 1] < 0.8 * errors[:, 0]).all()
