"""EWMA chart: equal gaps are the plain chart, limits hold what they promise, refusals."""

import numpy as np
import pytest

from analytics.estimators.ewma_chart import ewma_chart


def test_equal_gaps_give_the_plain_chart() -> None:
    readings = np.random.default_rng(4301).normal(size=40)
    plain = ewma_chart(readings, 0, 1)
    timed = ewma_chart(readings, 0, 1, times=np.arange(40) * 7.0)
    assert timed.means == pytest.approx(plain.means)
    assert timed.upper == pytest.approx(plain.upper)


def test_limits_are_exact_at_every_reading_whatever_the_gaps() -> None:
    random = np.random.default_rng(4302)
    times = np.cumsum(random.exponential(10, 30))
    runs = [ewma_chart(random.normal(5, 2, 30), 5, 2, times=times, width=2) for _ in range(2000)]
    beyond = np.mean([np.abs(run.means - 5) > run.upper - 5 for run in runs], axis=0)
    assert beyond == pytest.approx(np.full(30, 0.0455), abs=0.02)


def test_a_long_gap_forgets_more() -> None:
    chart = ewma_chart([1, 1, 1], 0, 1, times=[0, 10, 100], usual_gap=10)
    assert chart.weights[2] > chart.weights[1] == pytest.approx(0.2)


def test_refusals() -> None:
    with pytest.raises(ValueError, match="weight in"):
        ewma_chart([1.0], 0, 1, weight=0)
    with pytest.raises(ValueError, match="times in order"):
        ewma_chart([1.0, 2.0], 0, 1, times=[2, 1])
    with pytest.raises(ValueError, match="usual gap above zero"):
        ewma_chart([1.0, 2.0], 0, 1, times=[1, 1])
