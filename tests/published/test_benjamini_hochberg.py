"""Benjamini & Hochberg (1995), Controlling the false discovery rate, J. R. Stat. Soc. B 57, 289-300, section 4.1.

Fifteen hypotheses of the thrombolysis example; adjusted values as printed on scipy's page for its
`false_discovery_control`.
"""

import pytest

from analytics.estimators.multiple_testing import benjamini_hochberg

P_VALUES = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528]
P_VALUES += [0.7590, 1.0]
ADJUSTED = [0.0015, 0.003, 0.0095, 0.035625, 0.0603, 0.06385714, 0.06385714, 0.0645, 0.0765, 0.486, 0.58118182]
ADJUSTED += [0.714875, 0.75323077, 0.81321429, 1.0]


def test_adjusted_values_of_the_fifteen_hypotheses():
    assert benjamini_hochberg(P_VALUES) == pytest.approx(ADJUSTED, abs=5e-9)


def test_four_are_rejected_at_five_percent():
    # The paper: the procedure rejects the four smallest, Bonferroni the three smallest.
    assert (benjamini_hochberg(P_VALUES) <= 0.05).sum() == 4
