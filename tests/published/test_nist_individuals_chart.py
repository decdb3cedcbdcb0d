"""Individuals chart against NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.2."""

import pytest

from analytics.estimators.individuals_chart import individuals_chart

FLOWRATE = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]


def test_lines_of_the_flowrate_example() -> None:
    chart = individuals_chart(FLOWRATE)
    assert chart.centre == pytest.approx(50.81, abs=5e-5)
    assert chart.mean_moving_range == pytest.approx(1.8778, abs=5e-5)
    assert chart.upper == pytest.approx(55.8041, abs=5e-5)
    assert chart.lower == pytest.approx(45.8159, abs=5e-5)
    assert chart.beyond == ()


def test_moving_range_limit_of_the_flowrate_example() -> None:
    # The handbook's 6.1349 rests on a range factor tabulated to three decimals: 3.267 -+ 0.0005.
    chart = individuals_chart(FLOWRATE)
    assert chart.moving_range_upper == pytest.approx(6.1349, abs=0.0005 * 1.8778)
