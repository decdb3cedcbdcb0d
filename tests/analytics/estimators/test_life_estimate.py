"""Life with limits: model weights, single against many, open sides, plain sentences."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize_scalar
from scipy.stats import weibull_min

from analytics.estimators.life_estimate import FEWEST_FAILURES, LifeEstimate, life_estimate, life_estimates
from analytics.estimators.life_fit import LifeFit, fit_life, maximise
from analytics.estimators.life_likelihood import likelihood_terms, stacked
from analytics.estimators.life_limits import quantile_limits, small_sample_factor
from analytics.estimators.life_models import LOGNORMAL, WEIBULL
from analytics.estimators.life_observations import LifeObservations, TooFewToSay


def inspected(seed: int, size: int = 150, shape: float = 2.2) -> LifeObservations:
    rng = np.random.default_rng(seed)
    life, seen = 100 * rng.weibull(shape, size), 90 * np.exp(0.5 * rng.standard_normal(size))
    return LifeObservations(np.where(life <= seen, 0, seen), np.where(life <= seen, seen, np.inf))


def test_limits_of_one_model_match_a_direct_profile_centred_numerically() -> None:
    """At the limits, the signed root by scipy's search over the shape, centred by differences, is the normal quantile.

    DiCiccio & Martin 1993 in (log B10, shape): q = profile slope times the root of the information on the shape over that
    of both, times the prior at the maximum over the prior at the limit; shape^-1.5 in offset and steepness is shape^-0.5
    here. Half of log(q / r) / r is taken, since all failures are known from one side only.
    """
    observations = inspected(1)
    terms = stacked([likelihood_terms(observations)])
    best = maximise(terms, WEIBULL)
    limits = quantile_limits(terms, [WEIBULL], [best], (0.1,), 0.9)
    failed = np.isfinite(observations.upper)
    age = np.where(failed, observations.upper, observations.lower)

    def value(log_b10: float, shape: float) -> float:
        law = weibull_min(shape, scale=np.exp(log_b10) / (-np.log(0.9)) ** (1 / shape))
        return float(np.where(failed, law.logcdf(age), law.logsf(age)).sum())

    def shape_at(log_b10: float) -> float:
        return float(
            minimize_scalar(
                lambda s: -value(log_b10, s), bounds=(0.1, 20), method="bounded", options={"xatol": 1e-10}
            ).x
        )

    def bend(log_b10: float, shape: float, along: tuple[float, float], across: tuple[float, float]) -> float:
        return (
            -sum(
                sign
                * value(log_b10 + first * along[0] + second * across[0], shape + first * along[1] + second * across[1])
                for first, second, sign in ((1, 1, 1), (1, -1, -1), (-1, 1, -1), (-1, -1, 1))
            )
            / 4
        )  # times the steps, which all ratios below divide out alike

    step, other = (1e-3, 0.0), (0.0, 1e-3)
    top = float(limits.estimate[0, 0])
    shape = shape_at(top)
    both = bend(top, shape, step, step) * bend(top, shape, other, other) - bend(top, shape, step, other) ** 2
    for side, quantile in ((limits.lower, 1.6448536), (limits.upper, -1.6448536)):
        edge = float(side[0, 0])
        there = shape_at(edge)
        root = np.sign(top - edge) * np.sqrt(2 * (value(top, shape) - value(edge, there)))
        slope = (value(edge + 1e-4, shape_at(edge + 1e-4)) - value(edge - 1e-4, shape_at(edge - 1e-4))) / 2e-4 * 1e-3
        q = slope * np.sqrt(bend(edge, there, other, other) / both) * (there / shape) ** 0.5
        centred = root + 0.5 * np.log(q / root) / root
        assert centred / np.sqrt(float(small_sample_factor(best)[0])) == pytest.approx(quantile, rel=1e-3)


def test_both_models_are_weighed_by_their_likelihood() -> None:
    observations = inspected(2)
    answer = life_estimate(observations)
    fits = [fit_life(observations, m) for m in (WEIBULL, LOGNORMAL)]
    assert isinstance(answer, LifeEstimate)
    assert all(isinstance(f, LifeFit) for f in fits)
    ratio = np.exp(fits[0].log_likelihood - fits[1].log_likelihood)
    assert answer.weights[0] / answer.weights[1] == pytest.approx(ratio, rel=1e-6)
    assert sum(answer.weights) == pytest.approx(1)
    b10 = answer.quantiles[0]
    assert (
        b10.lower < min(f.quantile(0.1) for f in fits) < b10.estimate < max(f.quantile(0.1) for f in fits) < b10.upper
    )


def test_many_at_once_are_the_same_as_one_by_one() -> None:
    groups = [inspected(s, size) for s, size in ((3, 60), (4, 700), (5, 200), (6, 4))]
    together = life_estimates(groups)
    for group, answer in zip(groups, together, strict=True):
        alone = life_estimate(group)
        assert type(alone) is type(answer)
        if isinstance(alone, LifeEstimate) and isinstance(answer, LifeEstimate):
            for a, b in zip(alone.quantiles, answer.quantiles, strict=True):
                assert (a.estimate, a.lower, a.upper) == pytest.approx((b.estimate, b.lower, b.upper), rel=1e-4)


def test_a_model_without_weight_moves_no_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    """In one stack with lives of which both models are left: forty thousand lives leave one of them."""
    large = inspected(5, size=40_000)
    sets = [inspected(4), large, inspected(6)]
    quick = life_estimates(sets, (0.1, 0.5), 0.9)
    monkeypatch.setattr("analytics.estimators.life_limits.NO_WEIGHT", -1.0)
    whole = life_estimates(sets, (0.1, 0.5), 0.9)
    assert isinstance(quick[1], LifeEstimate)
    assert min(quick[1].weights) < 1e-12
    for one, other in zip(quick, whole, strict=True):
        assert isinstance(one, LifeEstimate)
        assert isinstance(other, LifeEstimate)
        for q, r in zip(one.quantiles, other.quantiles, strict=True):
            assert [q.lower, q.estimate, q.upper] == pytest.approx([r.lower, r.estimate, r.upper], rel=1e-8)


def test_a_higher_level_and_dependence_widen_the_limits() -> None:
    observations = inspected(7)
    narrow, wide = life_estimate(observations, level=0.8), life_estimate(observations, level=0.95)
    dependent = life_estimate(observations, level=0.8, inflation=2.0)
    assert isinstance(narrow, LifeEstimate)
    for other in (wide, dependent):
        assert isinstance(other, LifeEstimate)
        for a, b in zip(narrow.quantiles, other.quantiles, strict=True):
            assert b.lower < a.lower < a.upper < b.upper
            assert a.estimate == b.estimate


def test_a_side_the_data_do_not_bound_is_open_not_nan() -> None:
    """Failed and sound are almost of one age: the median lies anywhere above."""
    observations = LifeObservations([10, 20, 30, 40, 50, 0, 0], [np.inf] * 5 + [25.0, 45.0], [20] * 5 + [2, 4])
    answer = life_estimate(observations)
    assert isinstance(answer, LifeEstimate)
    median = answer.quantiles[1]
    assert median.upper == np.inf
    assert median.lower > 0
    assert not any(np.isnan([q.estimate, q.lower, q.upper]).any() for q in answer.quantiles)


def test_few_failures_are_too_few_to_say() -> None:
    answer = life_estimate(LifeObservations([1, 5, 0, 0], [np.inf, np.inf, 4.0, 9.0], [10, 1, 1, 2]))
    assert isinstance(answer, TooFewToSay)
    assert f"at least {FEWEST_FAILURES} failures" in str(answer)
    assert "(3 of 14 failed)" in str(answer)


@pytest.mark.parametrize("share", [0.0, 1.0])
def test_shares_outside_their_range_are_refused(share: float) -> None:
    with pytest.raises(ValueError, match="share must lie between 0 and 1"):
        life_estimate(inspected(8), shares=(share,))


def test_row_order_changes_no_digit() -> None:
    rows = inspected(9, 300)
    order = np.random.default_rng(0).permutation(300)
    other = LifeObservations(rows.lower[order], rows.upper[order])
    assert life_estimate(rows).quantiles == life_estimate(other).quantiles


@pytest.mark.filterwarnings("error")
def test_odd_data_give_limits_or_a_sentence_but_never_nan_nor_a_warning() -> None:
    """200 small tied data sets of all kinds, some entered late, in any unit and with counts up to 9,000."""
    rng = np.random.default_rng(5)
    said = 0
    for _ in range(200):
        size, scale = int(rng.integers(1, 30)), 10.0 ** rng.integers(-2, 7)
        first = rng.integers(0, 9, size) * scale
        later = first + rng.integers(1, 5, size) * scale
        kind = rng.choice(4, size, p=rng.dirichlet([1, 1, 1, 1]))
        lower = np.choose(kind, [first, first, first, 0 * first])
        upper = np.choose(kind, [first, np.full(size, np.inf), later, later])
        entry = np.where((rng.random(size) < 0.3) & (first - scale < upper), np.maximum(first - scale, 0), 0)
        count = rng.integers(0, 10, size) * 10.0 ** rng.integers(0, 4)
        answer = life_estimate(LifeObservations(lower, upper, count, entry))
        if isinstance(answer, LifeEstimate):
            said += 1
            assert all(0 <= q.lower <= q.estimate <= q.upper for q in answer.quantiles)
        else:
            assert answer.reason
    assert said > 40
