"""Individuals chart: invariants and refusals."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.estimators.individuals_chart import individuals_chart
from analytics.estimators.interval import TooFew


@given(st.lists(st.integers(-1000, 1000), min_size=8, max_size=40), st.integers(-500, 500))
def test_moving_the_readings_moves_every_line_alike(readings: list[int], shift: int) -> None:
    first = individuals_chart(readings)
    second = individuals_chart([value + shift for value in readings])
    assert second.upper - first.upper == pytest.approx(shift, abs=1e-6)
    assert second.moving_range_upper == pytest.approx(first.moving_range_upper, abs=1e-9)


def test_a_reading_beyond_the_baseline_limits_is_named() -> None:
    steady = [10.0, 10.2, 9.9, 10.1, 10.0, 9.8, 10.1, 10.0]
    chart = individuals_chart([*steady, 12.0, 10.0], baseline=8)
    assert chart.beyond == (8,)
    assert chart.jumps == (8, 9)


def test_false_signals_are_rare_on_steady_readings() -> None:
    random = np.random.default_rng(4101)
    signals = sum(len(individuals_chart(random.normal(size=200)).beyond) for _ in range(50))
    # 0.27 % of 10,000 readings, a little more for limits that are themselves estimated.
    assert 10 <= signals <= 60


def test_too_few_readings_are_refused_in_words() -> None:
    answer = individuals_chart([1.0, 2.0, 3.0])
    assert isinstance(answer, TooFew)
    assert str(answer) == "too few to say (3 of 8 readings)"


def test_a_missing_reading_is_refused() -> None:
    with pytest.raises(ValueError, match="finite number"):
        individuals_chart([1.0] * 8 + [float("nan")])
