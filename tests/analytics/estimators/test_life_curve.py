"""The free life curve: three methods, one maximum; certificates; what late entry leaves undetermined."""

from __future__ import annotations

import numpy as np
import pytest
import surpyval
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from lifelines import KaplanMeierFitter
from sklearn.isotonic import IsotonicRegression

from analytics.estimators.life_curve import LifeCurve, life_curve
from analytics.estimators.life_observations import LifeObservations, TooFewToSay
from analytics.estimators.life_product_limit import product_limit
from analytics.estimators.life_spans import life_spans
from analytics.estimators.life_status_curve import pool_adjacent_violators, status_curve
from analytics.estimators.life_turnbull import turnbull_masses

AGES = st.integers(1, 12)


@st.composite
def rows(draw: st.DrawFn, kinds: str = "eirl", late: bool = False) -> LifeObservations:
    """Draw small tied data: e exact, i interval, r running, l failed by now."""
    size = draw(st.integers(2, 14))
    lower, upper, entry = [], [], []
    for _ in range(size):
        kind, a, b = draw(st.sampled_from(kinds)), draw(AGES), draw(st.integers(1, 6))
        low, up = {"e": (a, a), "i": (a, a + b), "r": (a, np.inf), "l": (0, a)}[kind]
        begin = draw(st.integers(0, max(a - 1, 0))) if late else 0
        lower.append(max(low, begin))
        upper.append(up)
        entry.append(begin)
    return LifeObservations(lower, upper, None, entry)


def curve_of(observations: LifeObservations) -> LifeCurve:
    curve = life_curve(observations)
    assume(isinstance(curve, LifeCurve))
    assert isinstance(curve, LifeCurve)
    return curve


@given(rows(), st.randoms(use_true_random=False))
@settings(max_examples=120, deadline=None)
def test_certified_and_no_random_curve_is_likelier(observations: LifeObservations, random: object) -> None:
    curve = curve_of(observations)
    assert curve.certificate < 1e-6
    assert curve.mass.sum() + curve.later == pytest.approx(1)
    spans = life_spans(observations)
    rng = np.random.default_rng(len(curve.mass))
    for _ in range(20):
        mass = rng.dirichlet(np.full(len(spans.left) + 1, 0.5))
        assert spans.log_likelihood(mass) <= curve.log_likelihood + 1e-6


@given(rows(late=True))
@settings(max_examples=120, deadline=None)
def test_certified_with_late_entry(observations: LifeObservations) -> None:
    curve = curve_of(observations)
    assert curve.certificate < 1e-5
    assert np.isfinite(curve.mass).all()
    assert np.isfinite(curve.log_likelihood)


@given(rows("rl"))
@settings(max_examples=80, deadline=None)
def test_current_status_is_isotonic_regression_and_turnbull(observations: LifeObservations) -> None:
    curve = curve_of(observations)
    age, share = status_curve(observations)
    failed = np.isfinite(observations.upper)
    seen = np.where(failed, observations.upper, observations.lower)
    other = IsotonicRegression(y_min=0, y_max=1).fit(seen, failed.astype(float)).predict(age)
    np.testing.assert_allclose(share, other, atol=1e-9)
    spans = life_spans(observations)
    assert spans.log_likelihood(turnbull_masses(spans)) == pytest.approx(curve.log_likelihood, abs=1e-6)


@given(rows("er", late=True))
@settings(max_examples=120, deadline=None)
def test_product_limit_is_lifelines_with_late_entry(observations: LifeObservations) -> None:
    """Lifelines refuses data whose risk set empties early; the definition itself is checked on all of them."""
    result = product_limit(observations)
    surviving, expected = 1.0, []
    for age in result.age:
        at_risk = ((observations.entry < age) | (observations.entry == 0)) & (observations.lower >= age)
        surviving *= 1 - (observations.upper == age).sum() / at_risk.sum()
        expected.append(surviving)
    np.testing.assert_allclose(result.surviving, expected, atol=1e-12)
    always_followed = all(
        ((observations.entry < t) & (observations.lower > t)).any() for t in range(1, int(observations.lower.max()))
    )
    if always_followed:
        other = KaplanMeierFitter().fit(observations.lower, np.isfinite(observations.upper), entry=observations.entry)
        np.testing.assert_allclose(result.surviving, other.survival_function_at_times(result.age).to_numpy(), atol=1e-9)


@given(rows("er"))
@settings(max_examples=60, deadline=None)
def test_turnbull_equals_the_product_limit(observations: LifeObservations) -> None:
    curve = curve_of(observations)
    spans = life_spans(observations)
    assert spans.log_likelihood(turnbull_masses(spans)) == pytest.approx(curve.log_likelihood, abs=1e-6)


@given(rows("irl"))
@settings(max_examples=40, deadline=None)
def test_never_less_likely_than_surpyval(observations: LifeObservations) -> None:
    curve = curve_of(observations)
    low, up = observations.lower, observations.upper
    kind = np.where(np.isinf(up), 1, np.where(low == 0, -1, 2))
    x = [[a, b] if k == 2 else (a if k == 1 else b) for a, b, k in zip(low, up, kind, strict=True)]
    other = surpyval.Turnbull.fit(x=x, c=kind, turnbull_estimator="Kaplan-Meier")
    at = np.nan_to_num(other.ff(np.concatenate([np.where(low > 0, low, 1e-9), np.where(np.isinf(up), 1e9, up)])))
    chance = np.where(np.isinf(up), 1.0, at[len(low) :]) - np.where(low > 0, at[: len(low)], 0.0)
    assume((chance > 1e-12).all())
    assert curve.log_likelihood >= np.log(chance).sum() - 1e-6


def test_pooling_keeps_an_ordered_sequence_and_the_mean() -> None:
    rng = np.random.default_rng(2)
    share, weight = rng.random(50), rng.integers(1, 9, 50).astype(float)
    pooled = pool_adjacent_violators(share, weight)
    assert (np.diff(pooled) >= 0).all()
    assert pooled @ weight == pytest.approx(share @ weight)
    np.testing.assert_allclose(pool_adjacent_violators(np.sort(share), weight), np.sort(share))


def test_says_where_all_followed_failed_before_others_entered() -> None:
    curve = life_curve(LifeObservations([2, 3, 8, 9], [2, 3, 8, np.inf], None, [0, 1, 5, 5]))
    assert isinstance(curve, LifeCurve)
    assert curve.known_to == 3
    assert "the curve is not determined beyond 3" in curve.note


def test_says_where_nobody_was_followed() -> None:
    curve = life_curve(LifeObservations([2, 4, 8, 9], [2, np.inf, 8, np.inf], None, [0, 0, 6, 6]))
    assert isinstance(curve, LifeCurve)
    assert "no life was followed between 4 and 6" in curve.note
    assert curve.known_to == 4


def test_says_that_shares_are_among_those_that_reached_the_first_entry() -> None:
    curve = life_curve(LifeObservations([7, 9], [7, np.inf], None, [5, 6]))
    assert isinstance(curve, LifeCurve)
    assert curve.followed_from == 5
    assert "no life was followed below 5" in curve.note


@pytest.mark.parametrize(("lower", "upper"), [([], []), ([3.0], [np.inf])])
def test_without_failures_a_plain_sentence(lower: list[float], upper: list[float]) -> None:
    assert isinstance(life_curve(LifeObservations(lower, upper)), TooFewToSay)


def test_large_mixed_data_are_certified() -> None:
    rng = np.random.default_rng(4)
    life = 10 * rng.weibull(2, 2500)
    sharp = rng.random(2500) < 0.2
    lower, upper = np.where(sharp, life, np.floor(life)), np.where(sharp, life, np.floor(life) + 1)
    upper[rng.random(2500) < 0.3] = np.inf
    lower[np.isinf(upper)] *= 0.8
    curve = life_curve(LifeObservations(lower, upper))
    assert isinstance(curve, LifeCurve)
    assert curve.certificate < 1e-5


@pytest.mark.parametrize("estimate", [status_curve, product_limit])
def test_other_censoring_is_refused(estimate: object) -> None:
    with pytest.raises(ValueError, match="needs rows that are"):
        estimate(LifeObservations([2.0], [5.0]))
