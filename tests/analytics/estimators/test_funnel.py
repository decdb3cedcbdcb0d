"""Funnel: formulas by hand, chance alone, more spread than chance, and outliers that do not excuse themselves."""

import numpy as np
import pytest

from analytics.estimators.funnel import funnel, funnel_limits


def test_scores_by_hand():
    got = funnel([4, 9, 16, 25, 36], [9, 9, 9, 25, 25], winsorised=0.0)
    assert got.z == pytest.approx([-2, 0, 2, 0, 2])
    assert got.dispersion == pytest.approx(12 / 5)
    weight = 4 * np.array([9, 9, 9, 25, 25])
    room = weight.sum() - (weight**2).sum() / weight.sum()
    assert got.between == pytest.approx((12 - 4) / room)
    assert got.z_multiplied == pytest.approx(got.z / np.sqrt(12 / 5))
    assert got.z_added[4] == pytest.approx(2 / np.sqrt(1 + 100 * got.between))


def test_chance_alone_gives_hardly_any_dispersion_and_honest_p_values():
    rng, small, dispersions = np.random.default_rng(20260112), 0.0, []
    for _ in range(400):
        expected = rng.uniform(5, 60, 20)
        got = funnel(rng.poisson(expected), expected)
        dispersions.append(got.dispersion)
        small += np.mean(got.p_multiplied < 0.05) / 400
    # Twenty groups leave the estimate itself uncertain, and it is cut off at 1 from below.
    assert np.mean(dispersions) < 1.25
    assert 0.02 <= small <= 0.06


def test_spread_beyond_chance_is_allowed_for_by_either_route():
    rng, plain, multiplied, added = np.random.default_rng(20260113), 0.0, 0.0, 0.0
    for _ in range(400):
        expected = rng.uniform(20, 80, 25)
        got = funnel(rng.poisson(expected * rng.gamma(25, 1 / 25, 25)), expected)
        plain += np.mean(np.abs(got.z) > 1.96) / 400
        multiplied += np.mean(got.p_multiplied < 0.05) / 400
        added += np.mean(got.p_added < 0.05) / 400
    assert plain > 0.15
    assert multiplied < 0.09
    assert added < 0.09


def test_an_outlier_does_not_excuse_itself():
    expected = np.full(20, 30.0)
    observed = np.tile([27, 30, 33, 30], 5)
    observed[0] = 90
    got = funnel(observed, expected)
    assert got.dispersion == 1.0
    assert got.p_multiplied[0] < 1e-6


def test_limits_narrow_with_expectation_and_widen_with_spread():
    spread = funnel([4, 9, 16, 25, 36], [9, 9, 9, 25, 25], winsorised=0.0)
    limits = funnel_limits([2, 15, 200], spread)
    assert limits.chance_lower[1] == pytest.approx(0.5597, abs=5e-5)
    assert limits.chance_upper[1] == pytest.approx(1.6493, abs=5e-5)
    assert (np.diff(limits.multiplied_upper) < 0).all()
    assert (limits.multiplied_upper > (1 + 1.96 / np.sqrt(4 * limits.expected)) ** 2).all()
    assert (limits.added_lower >= 0).all()
    # A group on the drawn limit has the p value of that limit.
    assert 2 * (np.sqrt(limits.added_upper * 200) - np.sqrt(200))[2] / np.sqrt(1 + 800 * spread.between) == (
        pytest.approx(1.95996, abs=1e-4)
    )


def test_says_when_groups_are_too_few():
    assert str(funnel([1, 2, 3, 4], [1, 2, 3, 4])) == "too few to say (4 of 5 groups)"


def test_refuses_other_shapes():
    with pytest.raises(ValueError, match="shape of expected"):
        funnel([1, 2], [1])
