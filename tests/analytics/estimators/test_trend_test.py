"""Trend tests: level under no trend for clustered and uneven units, power, hand arithmetic."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.estimators.life_observations import TooFewToSay
from analytics.estimators.trend_test import TrendTest, laplace_test, trend_test


def visits(rng: np.random.Generator, power: float, cluster: int = 1) -> tuple[np.ndarray, ...]:
    """Return 60 units whose visits grow as age^power, each visit written `cluster` times."""
    end = rng.uniform(0.5, 3, 60)
    count = rng.poisson(rng.gamma(1, 1, 60) * end)
    unit = np.repeat(np.arange(60), count)
    age = end[unit] * rng.random(len(unit)) ** (1 / power)
    return np.zeros(60), end, np.repeat(unit, cluster), np.repeat(age, cluster)


@pytest.mark.parametrize("cluster", [1, 3])
def test_no_trend_is_rejected_as_often_as_it_says(cluster: int) -> None:
    """400 runs at 10 %: 40 expected, standard deviation 6."""
    rng = np.random.default_rng(7)
    found = [trend_test(*visits(rng, 1.0, cluster)) for _ in range(400)]
    assert 20 <= sum(f.p_value < 0.1 for f in found if isinstance(f, TrendTest)) <= 60


def test_clustered_visits_fool_the_plain_test_only() -> None:
    rng = np.random.default_rng(8)
    found = [laplace_test(*visits(rng, 1.0, 3)) for _ in range(200)]
    assert sum(f.p_value < 0.1 for f in found if isinstance(f, TrendTest)) > 40


def test_wearing_out_is_found_and_signed() -> None:
    rng = np.random.default_rng(9)
    faster, slower = trend_test(*visits(rng, 2.5)), trend_test(*visits(rng, 0.5))
    assert isinstance(faster, TrendTest)
    assert isinstance(slower, TrendTest)
    assert faster.statistic > 3
    assert slower.statistic < -3


def test_laplace_by_hand() -> None:
    """One unit over (0, 10]: U = sum(t - 5) / (10 sqrt(n / 12))."""
    found = laplace_test([0], [10], [0] * 5, [6, 7, 8, 9, 10])
    assert isinstance(found, TrendTest)
    assert found.statistic == pytest.approx(15 / (10 * np.sqrt(5 / 12)))


def test_too_few_and_refusals() -> None:
    few = trend_test([0], [10], [0] * 5, [6, 7, 8, 9, 10])
    assert isinstance(few, TooFewToSay)
    assert "at least 8 units with an event; found 1" in few.reason
    assert isinstance(laplace_test([0], [10], [0], [6]), TooFewToSay)
    assert isinstance(trend_test([0] * 9, [10] * 9, list(range(9)), [5] * 9), TooFewToSay)
    with pytest.raises(ValueError, match="outside its unit's observation"):
        trend_test([0], [10], [0], [11])
    with pytest.raises(ValueError, match="must be known"):
        trend_test([np.nan], [10], [0], [1])
