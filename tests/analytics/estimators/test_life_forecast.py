"""The number due: the count's distribution against direct sums, limits, and plain refusals."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy.stats import binom

from analytics.estimators import life_forecast
from analytics.estimators.life_forecast import CountDue, count_due, life_mixture, mid_point_limits
from analytics.estimators.life_observations import LifeObservations, TooFewToSay


def inspected(seed: int = 1, size: int = 300) -> LifeObservations:
    rng = np.random.default_rng(seed)
    life, seen = 100 * rng.weibull(2.2, size), 90 * np.exp(0.5 * rng.standard_normal(size))
    return LifeObservations(np.where(life <= seen, 0, seen), np.where(life <= seen, seen, np.inf))


def test_poisson_binomial_equals_the_sum_over_all_outcomes() -> None:
    chance = np.array([0.1, 0.35, 0.8, 0.5])
    expected = np.zeros(5)
    for outcome in itertools.product((0, 1), repeat=4):
        expected[sum(outcome)] += np.prod(np.where(outcome, chance, 1 - chance))
    np.testing.assert_allclose(life_forecast._poisson_binomial(chance[None, :])[0], expected, atol=1e-15)


def test_large_fleets_agree_with_the_exact_sum() -> None:
    chances = np.random.default_rng(1).uniform(0.02, 0.3, (3, 400))
    exact = np.cumsum(life_forecast._poisson_binomial(chances), axis=1)
    near = life_forecast._count_distribution(chances, np.ones(400))
    assert np.abs(near - exact).max() < 2e-3


def test_equal_chances_give_the_binomial_law() -> None:
    near = life_forecast._count_distribution(np.full((1, 1), 0.2), np.array([1000.0]))
    np.testing.assert_allclose(near[0], binom.cdf(np.arange(1001), 1000, 0.2), atol=1e-9)


def test_expected_number_is_the_sum_of_chances_and_lies_within_limits() -> None:
    due = count_due(inspected(), [50, 90, 120], [20, 20, 20], [10, 10, 5])
    assert isinstance(due, CountDue)
    assert due.expected == pytest.approx(due.chance @ [10, 10, 5])
    assert due.lower <= due.expected <= due.upper
    assert (np.diff(due.chance) > 0).all()
    assert (np.diff(due.cumulative) >= -1e-12).all()
    assert due.cumulative[-1] == pytest.approx(1)
    mean = np.arange(len(due.cumulative)) @ np.diff(due.cumulative, prepend=0)
    assert mean == pytest.approx(due.expected)


def test_knowing_less_widens_the_limits() -> None:
    many, few = (count_due(inspected(3, n), np.full(100, 70.0), np.full(100, 20.0)) for n in (3000, 60))
    assert isinstance(many, CountDue)
    assert isinstance(few, CountDue)
    assert few.upper - few.lower > many.upper - many.lower


def test_mixture_weights_sum_to_one() -> None:
    assert sum(m.weight.sum() for m in life_mixture(inspected())) == pytest.approx(1)


def test_mid_point_limits_of_a_known_law() -> None:
    """Binomial(10, .5): mid-point cumulative chances of 2 and 3 are .0327 and .1133."""
    assert mid_point_limits(binom.cdf(np.arange(11), 10, 0.5), 0.9) == (3, 7)
    assert mid_point_limits(np.array([1.0]), 0.9) == (0, 0)


def test_new_units_and_no_distance() -> None:
    due = count_due(inspected(), [0.0, 40.0], [0.0, 0.0])
    assert isinstance(due, CountDue)
    assert (due.expected, due.lower, due.upper) == (0.0, 0, 0)


def test_refusals() -> None:
    with pytest.raises(ValueError, match="must have one length"):
        count_due(inspected(), [1.0, 2.0], [1.0])
    with pytest.raises(ValueError, match="known and 0 or more"):
        count_due(inspected(), [np.nan], [1.0])
    with pytest.raises(ValueError, match="must be whole"):
        count_due(inspected(), [1.0], [1.0], [0.5])
    assert isinstance(count_due(LifeObservations([5.0], [np.inf]), [1.0], [1.0]), TooFewToSay)


def test_what_is_not_known_of_the_life_is_shared_by_all_units() -> None:
    """The count scatters more than units failing on their own would: by the variance of its mean over what is not known.

    The more units, the more of it: the variance of the mean grows with their square, the units' own with their number.
    """
    rng = np.random.default_rng(5)
    life, seen = rng.weibull(2.0, 100), rng.uniform(0.2, 1.6, 100)
    observations = LifeObservations(np.where(life <= seen, 0, seen), np.where(life <= seen, seen, np.inf))
    ratio = []
    for units in (10, 40, 160):
        due = count_due(observations, [0.6], [0.3], [units])
        assert isinstance(due, CountDue)
        mass = np.diff(due.cumulative, prepend=0.0)
        number = np.arange(units + 1)
        variance = float(mass @ (number - mass @ number) ** 2)
        alone = units * float(due.chance[0] * (1 - due.chance[0]))
        ratio.append(variance / alone)
    extra = [r - 1 for r in ratio]
    assert ratio[0] > 1.02
    # E p(1-p) + n var p over p(1-p): 1 + (n - 1) var p / (p(1-p)), exactly
    assert extra[1] / extra[0] == pytest.approx(39 / 9, rel=1e-6)
    assert extra[2] / extra[0] == pytest.approx(159 / 9, rel=1e-6)
