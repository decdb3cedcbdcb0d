"""Scores row by row agree with numerical derivatives, and the factor with the one from sums per unit."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.estimators.life_clusters import cluster_inflation
from analytics.estimators.life_fit import LifeFit, fit_life
from analytics.estimators.life_models import LOGNORMAL, MODELS, WEIBULL, LifeModel
from analytics.estimators.life_observations import LifeObservations
from analytics.estimators.life_unit_scores import life_scores, unit_inflation


def _mixed(seed: int = 3, units: int = 60) -> tuple[LifeObservations, np.ndarray]:
    """Return two lives a unit of every kind of censoring, those of one unit sharing a factor."""
    rng = np.random.default_rng(seed)
    factor = np.repeat(np.exp(0.4 * rng.standard_normal(units)), 2)
    life = 100 * factor * rng.weibull(2.0, 2 * units)
    entry = np.where(rng.random(2 * units) < 0.3, 20.0 * rng.random(2 * units), 0.0)
    seen = entry + 5 + 120 * rng.random(2 * units)
    kind = rng.integers(0, 3, 2 * units)
    lower = np.where(life > seen, seen, np.where(kind == 0, life, np.where(kind == 1, np.minimum(0.6 * life, life), 0)))
    upper = np.where(life > seen, np.inf, np.where(kind == 0, life, seen))
    kept = life > entry + 0.5
    unit = np.repeat(np.arange(units), 2)
    return LifeObservations(lower[kept], upper[kept], None, np.minimum(entry, life)[kept] * 0.99), unit[kept]


@pytest.mark.parametrize("model", MODELS, ids=lambda m: m.name)
def test_scores_sum_to_nought_at_the_maximum(model: LifeModel) -> None:
    rows, _ = _mixed()
    fit = fit_life(rows, model)
    assert isinstance(fit, LifeFit)
    assert life_scores(rows, fit).sum(axis=0) == pytest.approx([0, 0], abs=1e-5)


@pytest.mark.parametrize("model", MODELS, ids=lambda m: m.name)
def test_the_factor_is_that_of_the_sums_per_unit(model: LifeModel) -> None:
    rows, unit = _mixed()
    fit = fit_life(rows, model)
    assert isinstance(fit, LifeFit)
    assert unit_inflation(rows, unit, fit) == pytest.approx(
        cluster_inflation(rows, unit.tolist(), model=model), rel=1e-6
    )


def test_one_unit_alone_has_no_factor() -> None:
    rows, unit = _mixed()
    fit = fit_life(rows, WEIBULL)
    assert isinstance(fit, LifeFit)
    assert unit_inflation(rows, np.zeros_like(unit), fit) == 1.0


def test_the_order_of_rows_changes_nothing() -> None:
    rows, unit = _mixed()
    fit = fit_life(rows, LOGNORMAL)
    assert isinstance(fit, LifeFit)
    order = np.random.default_rng(1).permutation(len(unit))
    turned = LifeObservations(rows.lower[order], rows.upper[order], rows.count[order], rows.entry[order])
    assert unit_inflation(turned, unit[order], fit) == pytest.approx(unit_inflation(rows, unit, fit), rel=1e-12)
