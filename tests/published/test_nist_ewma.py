"""EWMA chart against NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.4."""

import pytest

from analytics.estimators.ewma_chart import ewma_chart

READINGS = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5]
READINGS += [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
MEANS = [50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33]
MEANS += [50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99]


def test_means_and_limits_of_the_worked_example() -> None:
    # Weight 0.3, centre 50, deviation 2.0539; limits 52.5884 and 47.4115 with the factor cut to 0.4201.
    chart = ewma_chart(READINGS, 50, 2.0539, weight=0.3, settled_limits=True)
    assert chart.means == pytest.approx(MEANS, abs=0.0051)
    assert chart.upper[0] == pytest.approx(52.5884, abs=1.5e-4)
    assert chart.lower[0] == pytest.approx(47.4115, abs=1.5e-4)
    assert chart.beyond == ()
