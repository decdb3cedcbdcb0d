"""Which lasts longer, and lives that share a spread."""

from __future__ import annotations

import numpy as np
import pytest
from lifelines import WeibullAFTFitter

from analytics.estimators.life_comparison import LifeRatio, compare_lives, lives_differ
from analytics.estimators.life_estimate import LifeEstimate, life_estimate
from analytics.estimators.life_fit import LifeFit, fit_life
from analytics.estimators.life_models import LOGNORMAL, MODELS, WEIBULL
from analytics.estimators.life_observations import LifeObservations, TooFewToSay
from analytics.estimators.life_regression import regression_fit, regression_rows
from analytics.estimators.life_shared_shape import SharedShape, shared_shape


def two_groups(
    seed: int, size: int = 200, ratio: float = 1.5, confounded: bool = False
) -> tuple[LifeObservations, np.ndarray, np.ndarray]:
    """Return current-status rows, the group, and a duty that shortens life (and goes with the group if confounded)."""
    rng = np.random.default_rng(seed)
    duty = rng.standard_normal(size)
    group = (rng.random(size) < (1 / (1 + np.exp(-2 * duty)) if confounded else 0.5)).astype(float)
    life = rng.weibull(2.0, size) * ratio**group * np.exp(-0.5 * duty)
    seen = 0.9 * np.exp(0.5 * rng.standard_normal(size))
    return LifeObservations(np.where(life <= seen, 0, seen), np.where(life <= seen, seen, np.inf)), group, duty


def test_agrees_with_lifelines_on_interval_data() -> None:
    import pandas as pd

    rng = np.random.default_rng(5)
    group = rng.integers(0, 2, 120).astype(float)
    life = 10 * rng.weibull(1.8, 120) * 1.4**group
    low, up = np.maximum(np.floor(life), 1e-3), np.floor(life) + 1
    up[life > 12], low[life > 12] = np.inf, 12
    table = pd.DataFrame({"low": low, "up": up, "group": group})
    other = WeibullAFTFitter().fit_interval_censoring(table, "low", "up")
    observations = LifeObservations(low, up)
    rows = regression_rows(observations, np.column_stack([group, np.ones(120)]))
    fit = regression_fit(rows, WEIBULL, rows.design)
    assert fit.log_likelihood >= other.log_likelihood_ - 1e-6
    assert fit.coefficients[0] / fit.steepness == pytest.approx(other.params_["lambda_", "group"], rel=1e-3)


@pytest.mark.parametrize("model", MODELS)
def test_without_covariates_it_is_the_plain_fit(model: object) -> None:
    observations, _, _ = two_groups(6)
    rows = regression_rows(observations, np.ones((len(observations.lower), 1)))
    fit = regression_fit(rows, model, rows.design)
    plain = fit_life(observations, model)
    assert isinstance(plain, LifeFit)
    assert fit.log_likelihood == pytest.approx(plain.log_likelihood, abs=1e-8)
    assert 1 / fit.steepness == pytest.approx(plain.spread, rel=1e-6)


def test_adjustment_removes_what_the_duty_brought() -> None:
    observations, group, duty = two_groups(7, 1500, ratio=1.0, confounded=True)
    raw, adjusted = compare_lives(observations, group), compare_lives(observations, group, duty)
    assert isinstance(raw, LifeRatio)
    assert isinstance(adjusted, LifeRatio)
    assert raw.upper < 0.8
    assert adjusted.lower < 1 < adjusted.upper
    assert raw.p_value < 1e-6 < adjusted.p_value


def test_swapping_the_groups_inverts_the_ratio() -> None:
    observations, group, _ = two_groups(8)
    one, other = compare_lives(observations, group), compare_lives(observations, 1 - group)
    assert isinstance(one, LifeRatio)
    assert isinstance(other, LifeRatio)
    assert (other.ratio, other.lower, other.upper) == pytest.approx(
        (1 / one.ratio, 1 / one.upper, 1 / one.lower), rel=1e-4
    )
    assert other.p_value == pytest.approx(one.p_value, rel=1e-3)


def test_p_value_and_limits_agree() -> None:
    observations, group, _ = two_groups(9, 150, ratio=1.3)
    found = compare_lives(observations, group)
    assert isinstance(found, LifeRatio)
    again = compare_lives(observations, group, level=1 - found.p_value)
    assert isinstance(again, LifeRatio)
    edge = again.lower if found.ratio > 1 else again.upper
    assert edge == pytest.approx(1, abs=1e-3)


def test_no_difference_is_rejected_as_often_as_it_says() -> None:
    """120 runs at 10 %: 12 expected, standard deviation 3.3."""
    found = [compare_lives(*two_groups(100 + s, 120, ratio=1.0)[:2]) for s in range(120)]
    low = sum(f.p_value < 0.1 for f in found if isinstance(f, LifeRatio))
    assert 2 <= low <= 24


def test_a_group_without_failures_is_a_plain_sentence() -> None:
    observations = LifeObservations([5, 6, 0, 0, 0], [np.inf, np.inf, 4, 5, 7], [9, 9, 3, 3, 3])
    answer = compare_lives(observations, [1, 1, 0, 0, 0])
    assert isinstance(answer, TooFewToSay)
    assert "in one of the groups none has failed" in answer.reason
    one = compare_lives(observations, np.zeros(5))
    assert isinstance(one, TooFewToSay)


def test_separated_groups_are_a_plain_sentence() -> None:
    observations = LifeObservations([5, 9, 0, 0], [np.inf, np.inf, 4, 8], [9, 9, 5, 5])
    answer = lives_differ(observations, ["a", "b", "b", "a"])
    assert isinstance(answer, float | TooFewToSay)
    alone = lives_differ(observations, ["a"] * 4)
    assert isinstance(alone, TooFewToSay)


def test_three_groups_with_one_that_lasts_longer() -> None:
    observations, group, _ = two_groups(10, 600, ratio=1.8)
    names = np.where(group == 1, "c", np.where(np.arange(600) % 2, "a", "b"))
    found = lives_differ(observations, names.tolist())
    assert isinstance(found, float)
    assert found < 1e-4


def test_unknown_covariates_are_refused() -> None:
    observations, group, duty = two_groups(11)
    with pytest.raises(ValueError, match="covariates must be known"):
        compare_lives(observations, np.where(np.arange(200) == 3, np.nan, group))
    with pytest.raises(ValueError, match="one length"):
        compare_lives(observations, group, duty[:5])


def test_shared_spread_narrows_the_limits_of_a_family_with_few_failures() -> None:
    families = {name: two_groups(20 + i, 150)[0] for i, name in enumerate("abcd")}
    few = two_groups(30, 25)[0]
    answers = shared_shape({**families, "few": few, "none": LifeObservations([5.0], [np.inf])})
    alone = life_estimate(few)
    shared = answers["few"]
    assert isinstance(alone, LifeEstimate)
    assert isinstance(shared, SharedShape)
    assert shared.quantiles[0].upper / shared.quantiles[0].lower < alone.quantiles[0].upper / alone.quantiles[0].lower
    assert shared.families == 5
    assert "shared by 5 families" in shared.statement
    assert isinstance(answers["none"], TooFewToSay)


def test_one_family_alone_keeps_its_own_estimate() -> None:
    observations = two_groups(31, 300)[0]
    answer, alone = shared_shape({"only": observations})["only"], life_estimate(observations)
    assert isinstance(answer, SharedShape)
    assert isinstance(alone, LifeEstimate)
    for a, b in zip(answer.quantiles, alone.quantiles, strict=True):
        assert a.estimate == pytest.approx(b.estimate, rel=0.01)
        # Limits of one family are centred for its own spread being estimated; those of a spread shared by many are not.
        assert (a.lower, a.upper) == pytest.approx((b.lower, b.upper), rel=0.05)


def test_lognormal_lives_weigh_the_lognormal() -> None:
    rng = np.random.default_rng(12)
    life, group = np.exp(0.4 * rng.standard_normal(900)), rng.integers(0, 2, 900)
    found = compare_lives(LifeObservations(life, life), group)
    assert isinstance(found, LifeRatio)
    assert found.weights[MODELS.index(LOGNORMAL)] > 0.99
