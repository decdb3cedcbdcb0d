"""Weibull and lognormal fits against independent libraries, and plain sentences where there is no maximum."""

from __future__ import annotations

import numpy as np
import pytest
import surpyval
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.stats import CensoredData, weibull_min

from analytics.estimators.life_fit import LifeFit, fit_life
from analytics.estimators.life_models import LOGNORMAL, MODELS, WEIBULL, LifeModel
from analytics.estimators.life_observations import LifeObservations, TooFewToSay

ORACLES = {"Weibull": surpyval.Weibull, "lognormal": surpyval.LogNormal}


def mixed(seed: int, size: int, late: bool = False) -> LifeObservations:
    """Return lives of which some are exact, some intervals, some failed by now, some running, some entered late."""
    rng = np.random.default_rng(seed)
    life = 100 * rng.weibull(rng.uniform(1.2, 4), size)
    seen = 100 * np.exp(0.5 * rng.standard_normal(size))
    kind = rng.integers(0, 3, size)
    status_low, status_up = np.where(life <= seen, 0.0, seen), np.where(life <= seen, seen, np.inf)
    step = np.floor(life / 20) * 20
    lower = np.choose(kind, [np.minimum(life, 2 * seen), status_low, step])
    upper = np.choose(kind, [np.where(life <= 2 * seen, life, np.inf), status_up, step + 20])
    if not late:
        return LifeObservations(lower, upper)
    entry = np.where(kind == 0, rng.uniform(0, 60, size), 0.0)
    kept = (kind != 0) | (life > entry)
    lower = np.maximum(lower, entry)
    return LifeObservations(lower[kept], np.maximum(upper, lower)[kept], None, entry[kept])


def direct_log_likelihood(observations: LifeObservations, model: LifeModel, location: float, spread: float) -> float:
    """Return the log-likelihood by scipy's distributions, row by row."""
    from scipy.stats import lognorm

    law = (
        weibull_min(1 / spread, scale=np.exp(location)) if model is WEIBULL else lognorm(spread, scale=np.exp(location))
    )
    total = 0.0
    for low, up, count, entry in zip(
        observations.lower, observations.upper, observations.count, observations.entry, strict=True
    ):
        chance = law.logpdf(up) if low == up else np.log(law.cdf(up) - law.cdf(max(low, entry)))
        total += count * ((law.logsf(low) if np.isinf(up) else chance) - law.logsf(entry))
    return total


@given(st.integers(0, 10**6), st.integers(15, 80), st.sampled_from(MODELS))
@settings(max_examples=40, deadline=None)
def test_agrees_with_surpyval_on_mixed_censoring(seed: int, size: int, model: LifeModel) -> None:
    observations = mixed(seed, size)
    fit = fit_life(observations, model)
    assume(isinstance(fit, LifeFit))
    assert isinstance(fit, LifeFit)
    exact = observations.lower == observations.upper
    low, up = observations.lower.copy(), observations.upper.copy()
    censored = np.where(exact, 0, np.where(np.isinf(up), 1, np.where(low == 0, -1, 2)))
    x = [[a, b] if c == 2 else (a if c == 1 else b) for a, b, c in zip(low, up, censored, strict=True)]
    other = ORACLES[model.name].fit(x=x, c=censored)
    first, second = other.params
    location, spread = (np.log(first), 1 / second) if model is WEIBULL else (first, second)
    theirs = direct_log_likelihood(observations, model, location, spread)
    assert fit.log_likelihood == pytest.approx(
        direct_log_likelihood(observations, model, fit.location, fit.spread), abs=1e-7
    )
    assert fit.log_likelihood >= theirs - 1e-6
    assert (fit.scale, fit.spread) == pytest.approx((np.exp(location), spread), rel=1e-4)


@given(st.integers(0, 10**6), st.integers(20, 80), st.sampled_from(MODELS))
@settings(max_examples=30, deadline=None)
def test_no_neighbour_is_likelier_with_late_entry(seed: int, size: int, model: LifeModel) -> None:
    observations = mixed(seed, size, late=True)
    fit = fit_life(observations, model)
    assume(isinstance(fit, LifeFit))
    assert isinstance(fit, LifeFit)
    here = direct_log_likelihood(observations, model, fit.location, fit.spread)
    assert here == pytest.approx(fit.log_likelihood, abs=1e-6)
    for by_location, by_spread in [(1e-3, 0), (-1e-3, 0), (0, 1e-3), (0, -1e-3), (0.3, 0.3), (-0.3, 0.3)]:
        moved = direct_log_likelihood(observations, model, fit.location + by_location, fit.spread * np.exp(by_spread))
        assert moved <= here + 1e-8


def test_agrees_with_scipy_to_four_digits() -> None:
    observations = mixed(3, 60)
    fit = fit_life(observations, WEIBULL)
    assert isinstance(fit, LifeFit)
    low, up = observations.lower, observations.upper
    data = CensoredData.interval_censored(low, up)
    exact, right = low == up, np.isinf(up)
    data = CensoredData(
        uncensored=up[exact], right=low[right], left=up[(low == 0) & ~right],
        interval=np.column_stack([low, up])[(low > 0) & ~exact & ~right],
    )  # fmt: skip
    shape, _, scale = weibull_min.fit(data, 2.0, floc=0, scale=100)
    assert (fit.shape, fit.scale) == pytest.approx((shape, scale), rel=1e-4)


def test_binomial_weights_equal_repeated_rows() -> None:
    rows = mixed(8, 40)
    weighted = LifeObservations(rows.lower, rows.upper, np.full(len(rows.lower), 3.0))
    repeated = LifeObservations(np.tile(rows.lower, 3), np.tile(rows.upper, 3))
    a, b = fit_life(weighted, LOGNORMAL), fit_life(repeated, LOGNORMAL)
    assert isinstance(a, LifeFit)
    assert isinstance(b, LifeFit)
    assert (a.location, a.spread) == (b.location, b.spread)


def test_row_order_changes_no_digit() -> None:
    rows = mixed(9, 70, late=True)
    mixed_up = np.random.default_rng(1).permutation(len(rows.lower))
    other = LifeObservations(*(getattr(rows, c)[mixed_up] for c in ("lower", "upper", "count", "entry")))
    a, b = fit_life(rows, WEIBULL), fit_life(other, WEIBULL)
    assert isinstance(a, LifeFit)
    assert isinstance(b, LifeFit)
    assert (a.location, a.spread, a.log_likelihood) == (b.location, b.spread, b.log_likelihood)


@pytest.mark.parametrize("unit", [1e-6, 1.0, 1e9])
def test_the_unit_of_age_does_not_matter(unit: float) -> None:
    rows = mixed(10, 50)
    plain, moved = fit_life(rows, WEIBULL), fit_life(LifeObservations(rows.lower * unit, rows.upper * unit), WEIBULL)
    assert isinstance(plain, LifeFit)
    assert isinstance(moved, LifeFit)
    assert (moved.scale / unit, moved.shape) == pytest.approx((plain.scale, plain.shape), rel=1e-8)


@pytest.mark.parametrize(
    ("lower", "upper", "sentence"),
    [
        ([], [], "there are no observations"),
        ([5, 6], [np.inf, np.inf], "none has failed"),
        ([0, 0], [5, 6], "all had failed by the time they were seen"),
        ([5], [np.inf], "none has failed"),
        ([1, 2, 0, 0], [np.inf, np.inf, 3, 4], r"one age \(3\) agrees with every observation"),
        ([7, 7, 7], [7, 7, 7], r"one age \(7\) agrees with every observation"),
        ([4, 5, 0, 0], [np.inf, np.inf, 3, 4], "the failed are not older than the sound"),
        ([0, 1], [0, np.inf], "a failure stands at age 0"),
        ([0, 0, 0], [np.inf, 5, 6], "one age|all had failed"),
    ],
)
@pytest.mark.parametrize("model", MODELS)
def test_no_interior_maximum_is_a_plain_sentence(
    lower: list[float], upper: list[float], sentence: str, model: LifeModel
) -> None:
    import re

    answer = fit_life(LifeObservations(np.array(lower, float), np.array(upper, float)), model)
    assert isinstance(answer, TooFewToSay)
    assert re.search(sentence, str(answer))
    assert "nan" not in str(answer)


@given(st.lists(st.tuples(st.sampled_from([0, 1, 2, 3]), st.integers(0, 6), st.integers(0, 6)), max_size=12))
@settings(max_examples=150, deadline=None)
def test_small_odd_data_never_give_nan(rows: list[tuple[int, int, int]]) -> None:
    lower, upper = [], []
    for kind, a, b in rows:
        low, up = min(a, b), max(a, b)
        lower.append(float({0: 0, 1: low, 2: low, 3: up}[kind]))
        upper.append(float({0: up, 1: np.inf, 2: up, 3: up}[kind]))
    for model in MODELS:
        answer = fit_life(LifeObservations(lower, upper), model)
        if isinstance(answer, LifeFit):
            assert np.isfinite([answer.location, answer.spread, answer.log_likelihood]).all()
            assert answer.decrement < 1e-6
            assert np.linalg.eigvalsh(answer.covariance).min() > 0
