"""The likelihood of lives: shorter ways to its value and slopes agree with the long one and with scipy's functions."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import gumbel_l, norm

from analytics.estimators.life_estimate import LifeEstimate, life_estimates, life_middles
from analytics.estimators.life_likelihood import (
    LikelihoodTerms,
    likelihood_terms,
    log_likelihood,
    log_likelihood_value,
    offset_derivatives,
    stacked,
)
from analytics.estimators.life_models import LOGNORMAL, MODELS, WEIBULL, LifeModel
from analytics.estimators.life_observations import LifeObservations


def mixed(seed: int, size: int = 80) -> LifeObservations:
    """Return lives of every kind: exact, between two looks, failed by now, not yet, and followed from later on."""
    rng = np.random.default_rng(seed)
    life = 100 * rng.weibull(2.0, size) + 1
    lower, upper = life * rng.uniform(0.3, 0.9, size), life * rng.uniform(1.1, 2.0, size)
    kind = np.arange(size) % 5
    lower = np.where(kind == 0, life, np.where(kind == 2, 0.0, lower))
    upper = np.where(kind == 0, life, np.where(kind >= 3, np.inf, upper))
    return LifeObservations(lower, upper, None, np.where(kind == 4, lower / 2, 0.0))


@pytest.fixture
def terms() -> LikelihoodTerms:
    return stacked([likelihood_terms(mixed(seed)) for seed in (1, 2, 3)])


@pytest.mark.parametrize("model", MODELS, ids=lambda m: m.name)
@pytest.mark.parametrize(("offset", "steepness"), [(-0.4, 0.8), (0.0, 2.0), (1.5, 6.0)])
def test_the_short_ways_give_what_the_long_one_does(
    terms: LikelihoodTerms, model: LifeModel, offset: float, steepness: float
) -> None:
    at = (np.full(3, offset), np.full(3, steepness))
    whole = log_likelihood(terms, model, *at)
    np.testing.assert_array_equal(log_likelihood_value(terms, model, *at), whole.value)
    first, second = offset_derivatives(terms, model, *at)
    np.testing.assert_array_equal(first, whole.by_offset)
    np.testing.assert_array_equal(second, whole.by_offset_offset)
    # and the slopes are those of the value, by differences
    step = 1e-5
    up, down = (log_likelihood_value(terms, model, at[0] + way * step, at[1]) for way in (1, -1))
    np.testing.assert_allclose((up - down) / (2 * step), first, rtol=1e-6, atol=1e-5)


@pytest.mark.parametrize(("model", "law"), [(WEIBULL, gumbel_l), (LOGNORMAL, norm)], ids=["Weibull", "lognormal"])
def test_the_chance_between_two_ages_is_scipys(model: LifeModel, law: object) -> None:
    """scipy's distribution functions: smallest extreme value and normal, the difference from the smaller tail."""
    good = np.array([-30.0, -3.0, -1.0, -0.1, 0.2, 1.0, 1.5])
    bad = good + np.array([1.0, 0.01, 2.0, 0.5, 0.5, 0.001, 0.3])
    with np.errstate(divide="ignore"):
        expected = np.where(
            good > 0, np.log(law.sf(good) - law.sf(bad)), np.log(law.cdf(bad) - law.cdf(good))  # type: ignore[attr-defined]
        )  # fmt: skip
    np.testing.assert_allclose(model.between(good, bad), expected, rtol=1e-9)
    np.testing.assert_allclose(model.failed_value(good), law.logcdf(good), rtol=1e-10)  # type: ignore[attr-defined]
    np.testing.assert_allclose(model.sound_value(good), law.logsf(good), rtol=1e-10)  # type: ignore[attr-defined]


@pytest.mark.parametrize(("model", "law"), [(WEIBULL, gumbel_l), (LOGNORMAL, norm)], ids=["Weibull", "lognormal"])
def test_the_slopes_of_that_chance_are_scipys_densities_over_it(model: LifeModel, law: object) -> None:
    """By definition f(z) / (F(bad) - F(good)), scipy's densities; and from tails where the chance itself vanishes."""
    good = np.array([-30.0, -3.0, -1.0, -0.1, 0.2, 1.0, 1.5])
    bad = good + np.array([1.0, 0.01, 2.0, 0.5, 0.5, 0.001, 0.3])
    value, at_good, at_bad, slope_good, slope_bad = model.interval(good, bad)
    np.testing.assert_array_equal(value, model.between(good, bad))
    np.testing.assert_allclose(at_good, -np.exp(law.logpdf(good) - value), rtol=1e-9)  # type: ignore[attr-defined]
    np.testing.assert_allclose(at_bad, np.exp(law.logpdf(bad) - value), rtol=1e-9)  # type: ignore[attr-defined]
    step = 1e-6
    for z, slope in ((good, slope_good), (bad, slope_bad)):
        by_difference = (law.logpdf(z + step) - law.logpdf(z - step)) / (2 * step)  # type: ignore[attr-defined]
        np.testing.assert_allclose(slope, by_difference, rtol=1e-6, atol=1e-8)


def test_a_chance_that_vanishes_keeps_its_logarithm_and_slopes() -> None:
    """Weibull far below: F = exp(z), so log(exp(bad) - exp(good)) = good + log(e - 1) one step further. Far above: none."""
    value, at_good, at_bad, *_ = WEIBULL.interval(np.array([-800.0]), np.array([-799.0]))
    np.testing.assert_allclose(value, -800 + np.log(np.expm1(1.0)), rtol=1e-13)
    np.testing.assert_allclose(at_good, -1 / np.expm1(1.0), rtol=1e-12)
    np.testing.assert_allclose(at_bad, 1 / -np.expm1(-1.0), rtol=1e-12)
    assert WEIBULL.between(np.array([600.0]), np.array([601.0])) == -np.inf


def test_middles_are_the_estimates_without_their_limits() -> None:
    sets = [mixed(seed) for seed in range(6)]
    sets.insert(2, LifeObservations([10.0, 20.0], [np.inf, np.inf]))
    whole = life_estimates(sets, (0.1,), 0.9)
    middles = life_middles(sets, 0.1)
    assert [middle is None for middle in middles] == [not isinstance(found, LifeEstimate) for found in whole]
    assert [m for m in middles if m] == [f.quantiles[0].estimate for f in whole if isinstance(f, LifeEstimate)]
    assert middles.count(None) == 1
