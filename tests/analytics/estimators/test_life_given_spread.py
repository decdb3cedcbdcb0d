"""A spread shared by places of one component, and lives of places with few failures under it."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.estimators.life_given_spread import CommonSpread, common_spread, lives_given_spread
from analytics.estimators.life_observations import LifeObservations, TooFewToSay
from analytics.estimators.life_shared_shape import SharedShape, shared_shape

SCALES = (100.0, 150.0, 80.0, 200.0, 300.0, 400.0)
SHAPE = 2.2
TRUE_B10 = [scale * (-np.log(0.9)) ** (1 / SHAPE) for scale in SCALES]


def _families(seed: int, number: int = 40) -> list[LifeObservations]:
    rng = np.random.default_rng(seed)
    families = []
    for scale in SCALES:
        life, seen = scale * rng.weibull(SHAPE, number), 100 * np.exp(0.4 * rng.standard_normal(number))
        families.append(LifeObservations(np.where(life <= seen, 0, seen), np.where(life <= seen, seen, np.inf)))
    return families


def test_agrees_with_the_joint_regression() -> None:
    """The profile over a grid of spreads has its maximum where the regression on family indicators has it."""
    families = _families(4, 120)
    named = shared_shape({str(i): f for i, f in enumerate(families)})
    spread = common_spread(families)
    assert isinstance(spread, CommonSpread)
    found = lives_given_spread(families, spread)
    for i, quantiles in enumerate(found):
        other = named[str(i)]
        assert isinstance(other, SharedShape)
        for mine, theirs in zip(quantiles, other.quantiles, strict=True):
            assert mine.estimate == pytest.approx(theirs.estimate, rel=0.05)
            assert mine.lower == pytest.approx(theirs.lower, rel=0.12)
            assert mine.upper == pytest.approx(theirs.upper, rel=0.12)


def test_with_many_failures_it_finds_the_planted_life() -> None:
    families = _families(9, 2000)
    spread = common_spread(families)
    assert isinstance(spread, CommonSpread)
    assert spread.shape == pytest.approx(SHAPE, rel=0.06)
    for true, quantiles in zip(TRUE_B10, lives_given_spread(families, spread), strict=True):
        assert quantiles[0].estimate == pytest.approx(true, rel=0.06)


def test_limits_hold_for_places_with_few_failures() -> None:
    """90 % limits of B10 cover 87 to 96 % where 1 to 4 failed: wider than needed on the long side, never short."""
    inside = []
    for seed in range(60):
        families = _families(1000 + seed)
        spread = common_spread(families)
        if not isinstance(spread, CommonSpread):
            continue
        few = [i for i, f in enumerate(families) if 0 < f.failed < 5]
        told = lives_given_spread([families[i] for i in few], spread)
        inside += [q[0].lower <= TRUE_B10[i] <= q[0].upper for i, q in zip(few, told, strict=True)]
    assert len(inside) > 60
    assert 0.85 <= np.mean(inside) <= 0.97


def test_too_few_failures_lend_nothing() -> None:
    assert isinstance(common_spread([LifeObservations([5.0, 0], [np.inf, 5.0])]), TooFewToSay)


def test_a_place_without_failures_is_refused() -> None:
    spread = CommonSpread((0.7, 0.7), (0.1, 0.1), (0.5, 0.5), 20, 4)
    with pytest.raises(ValueError, match="at least one failure"):
        lives_given_spread([LifeObservations([5.0], [np.inf])], spread)
