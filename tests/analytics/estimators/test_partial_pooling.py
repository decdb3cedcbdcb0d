"""Partial pooling: James-Stein with equal errors, coverage, fewer than four stand alone."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.estimators.partial_pooling import partial_pooling


def test_equal_errors_give_the_james_stein_factor() -> None:
    # Efron & Morris 1975: shrinkage (k - 3) V / S towards the grand mean.
    y = np.random.default_rng(4401).normal(0.265, 0.08, 18)
    found = partial_pooling(y, np.full(18, 0.05))
    factor = 15 * 0.05**2 / ((y - y.mean()) ** 2).sum()
    assert found.weights == pytest.approx(np.full(18, factor))
    assert found.estimates.estimate == pytest.approx(y - factor * (y - y.mean()))


@pytest.mark.parametrize("spread", [0.02, 0.1, 0.5])
def test_intervals_cover_on_average(spread: float) -> None:
    random = np.random.default_rng(4402)
    hits = total = 0
    for _ in range(500):
        errors = random.uniform(0.05, 0.2, 8)
        truth = random.normal(1, spread, 8)
        found = partial_pooling(random.normal(truth, errors), errors).estimates
        hits += int(((found.lower <= truth) & (truth <= found.upper)).sum())
        total += 8
    assert 0.93 <= hits / total <= 0.995


def test_pooled_estimates_are_nearer_the_truth() -> None:
    random = np.random.default_rng(4403)
    raw = pooled = 0.0
    for _ in range(200):
        truth = random.normal(0.85, 0.05, 6)
        y = random.normal(truth, 0.1)
        raw += ((y - truth) ** 2).sum()
        pooled += ((partial_pooling(y, np.full(6, 0.1)).estimates.estimate - truth) ** 2).sum()
    assert pooled < 0.7 * raw


@given(st.lists(st.tuples(st.integers(-100, 100), st.integers(1, 20)), min_size=4, max_size=12))
def test_each_estimate_moves_towards_the_mean_and_not_past_it(pairs: list[tuple[int, int]]) -> None:
    y, errors = (np.array(column, dtype=float) for column in zip(*pairs, strict=True))
    found = partial_pooling(y, errors)
    assert ((found.weights >= 0) & (found.weights < 1)).all()
    between = found.estimates.estimate - found.mean
    assert (between * (y - found.mean) >= -1e-9).all()
    assert (np.abs(between) <= np.abs(y - found.mean) + 1e-9).all()


def test_fewer_than_four_stand_alone_and_say_so() -> None:
    found = partial_pooling([1.0, 2.0], [0.1, 0.1])
    assert not found.pooled
    assert found.estimates.estimate.tolist() == [1.0, 2.0]
    assert "not pooled" in found.estimates.method


def test_refusals() -> None:
    with pytest.raises(ValueError, match="more than zero"):
        partial_pooling([1.0], [0.0])
    with pytest.raises(ValueError, match="at least one estimate"):
        partial_pooling([], [])
