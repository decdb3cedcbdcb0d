"""Components of one unit that fare alike: wider limits, the shared-frailty sensitivity, and the test of fit."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.estimators.life_clusters import cluster_inflation
from analytics.estimators.life_fit import LifeFit, fit_life
from analytics.estimators.life_frailty import FrailtySensitivity, frailty_sensitivity
from analytics.estimators.life_goodness import GoodnessOfFit, goodness_of_fit
from analytics.estimators.life_models import LOGNORMAL, WEIBULL
from analytics.estimators.life_observations import LifeObservations, TooFewToSay


def units(seed: int, number: int, variance: float, positions: int = 4) -> tuple[LifeObservations, list[int]]:
    """Return current-status rows of units whose positions share a gamma factor, and the unit of each row."""
    rng = np.random.default_rng(seed)
    factor = rng.gamma(1 / variance, variance, number) if variance else np.ones(number)
    life = (rng.exponential(size=(number, positions)) / factor[:, None]) ** (1 / 2.5)
    seen = np.repeat(0.9 * np.exp(0.5 * rng.standard_normal(number))[:, None], positions, axis=1)
    observations = LifeObservations(
        np.where(life <= seen, 0, seen).ravel(), np.where(life <= seen, seen, np.inf).ravel()
    )
    return observations, np.repeat(np.arange(number), positions).tolist()


def test_rows_written_four_times_need_four_times_the_variance() -> None:
    once, _ = units(1, 200, 0.0, positions=1)
    lower, upper = np.repeat(once.lower, 4), np.repeat(once.upper, 4)
    alone = cluster_inflation(once, list(range(200)))
    fourfold = cluster_inflation(LifeObservations(lower, upper), np.repeat(np.arange(200), 4).tolist())
    assert isinstance(alone, float)
    assert isinstance(fourfold, float)
    assert alone < 1.3
    assert 3.2 < fourfold < 5.2


def test_one_unit_is_too_few() -> None:
    observations, _ = units(2, 50, 0.0)
    assert isinstance(cluster_inflation(observations, [1] * 200), TooFewToSay)


def test_the_planted_variance_is_likeliest_and_its_quantile_near() -> None:
    observations, unit = units(3, 1200, 1.0)
    found = frailty_sensitivity(observations, unit, variances=(0.25, 1.0, 4.0))
    assert isinstance(found, FrailtySensitivity)
    assert found.likeliest == 1.0
    truth = ((0.9**-1.0 - 1) / 1.0) ** (1 / 2.5)
    assert found.quantile[1, 0] == pytest.approx(truth, rel=0.1)


def test_variance_zero_is_the_independent_fit() -> None:
    observations, unit = units(4, 80, 0.0)
    found, plain = frailty_sensitivity(observations, unit, variances=(0.0, 0.01)), fit_life(observations, WEIBULL)
    assert isinstance(found, FrailtySensitivity)
    assert isinstance(plain, LifeFit)
    assert found.log_likelihood[0] == pytest.approx(plain.log_likelihood, abs=1e-6)
    assert found.quantile[0, 0] == pytest.approx(plain.quantile(0.1), rel=1e-3)
    assert found.quantile[1, 0] == pytest.approx(plain.quantile(0.1), rel=0.02)


def test_single_positions_need_no_quadrature() -> None:
    """With one position a unit the marginal life is 1 - (1 + v H)^(-1/v): the likelihood in closed form."""
    observations, unit = units(5, 150, 0.5, positions=1)
    found = frailty_sensitivity(observations, unit, variances=(0.5,))
    assert isinstance(found, FrailtySensitivity)
    from scipy.optimize import minimize

    failed = np.isfinite(observations.upper)
    age = np.where(failed, observations.upper, observations.lower)

    def negative(p: np.ndarray) -> float:
        sound = (1 + 0.5 * np.exp(np.exp(p[1]) * np.log(age) - p[0])) ** -2.0
        return -float(np.log(np.where(failed, 1 - sound, sound)).sum())

    assert found.log_likelihood[0] == pytest.approx(-minimize(negative, [0.0, 1.0]).fun, abs=1e-4)


def test_components_keep_their_own_lives() -> None:
    observations, unit = units(6, 120, 0.5, positions=2)
    kind = np.tile([0, 1], 120)
    slower = np.where(kind == 1, 2.0, 1.0)
    both = LifeObservations(observations.lower * slower, observations.upper * slower)
    found = frailty_sensitivity(both, unit, kind, variances=(0.0, 0.5))
    assert isinstance(found, FrailtySensitivity)
    assert found.quantile.shape == (2, 2)
    assert (found.quantile[:, 1] > 1.3 * found.quantile[:, 0]).all()


def test_unit_order_changes_no_digit() -> None:
    observations, unit = units(7, 40, 0.5)
    order = np.random.default_rng(0).permutation(len(unit))
    other = LifeObservations(observations.lower[order], observations.upper[order])
    first = frailty_sensitivity(observations, unit, variances=(0.5,))
    second = frailty_sensitivity(other, [unit[i] for i in order], variances=(0.5,))
    assert isinstance(first, FrailtySensitivity)
    assert isinstance(second, FrailtySensitivity)
    assert first.quantile.tolist() == second.quantile.tolist()


def test_no_failures_and_bad_arguments() -> None:
    running = LifeObservations([3.0, 4.0], [np.inf, np.inf])
    assert isinstance(frailty_sensitivity(running, [1, 2]), TooFewToSay)
    with pytest.raises(ValueError, match="cannot be below 0"):
        frailty_sensitivity(running, [1, 2], variances=(-1.0,))
    with pytest.raises(ValueError, match="one value for each"):
        frailty_sensitivity(running, [1])


def test_fit_is_rejected_about_as_often_as_it_says_when_true() -> None:
    """120 runs at 10 %: 12 expected, standard deviation 3.3."""
    found = [goodness_of_fit(units(100 + s, 150, 0.0, 1)[0], WEIBULL, draws=79) for s in range(120)]
    assert 2 <= sum(f.p_value <= 0.1 for f in found if isinstance(f, GoodnessOfFit)) <= 24


def test_two_kinds_of_life_in_one_pot_do_not_fit() -> None:
    rng = np.random.default_rng(8)
    life = np.where(rng.random(2000) < 0.5, 0.4, 2.5) * rng.weibull(8, 2000)
    seen = np.exp(0.7 * rng.standard_normal(2000))
    pot = LifeObservations(np.where(life <= seen, 0, seen), np.where(life <= seen, seen, np.inf))
    for model in (WEIBULL, LOGNORMAL):
        found = goodness_of_fit(pot, model)
        assert isinstance(found, GoodnessOfFit)
        assert found.p_value <= 0.01


def test_other_censoring_is_said_to_be_untested() -> None:
    found = goodness_of_fit(LifeObservations([1, 2, 3, 4, 5, 6], [1, 2, 3, 4, 5, np.inf]), WEIBULL)
    assert isinstance(found, TooFewToSay)
    assert "tested only where" in found.reason
