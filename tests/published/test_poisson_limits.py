"""Exact Poisson limits for observed against expected, as drawn on a funnel plot.

The literals stand in the tests of a public open-source package for funnel plots (95 % limits at an
expectation of 15): lower .5597, upper 1.6493. Garwood, Fiducial limits for the Poisson distribution,
Biometrika 28 (1936) 437-442.
"""

import pytest

from analytics.estimators.poisson_rate import observed_to_expected, rate


def test_limits_at_an_expectation_of_fifteen():
    got = observed_to_expected(15, 15)
    assert got.estimate == 1
    assert got.lower == pytest.approx(0.5597, abs=5e-5)
    assert got.upper == pytest.approx(1.6493, abs=5e-5)


@pytest.mark.parametrize(
    ("count", "lower", "upper"),
    # Garwood's table as every handbook reprints it (from memory; each follows from the chi-square quantiles).
    [(0, 0.0, 3.689), (1, 0.0253, 5.572), (2, 0.2422, 7.225), (5, 1.623, 11.668), (10, 4.795, 18.390)],
)
def test_garwood_limits_of_small_counts(count, lower, upper):
    got = rate(count, 1)
    assert got.lower == pytest.approx(lower, abs=5e-4)
    assert got.upper == pytest.approx(upper, abs=1.5e-3)
