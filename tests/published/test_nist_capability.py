"""Capability ratios against NIST/SEMATECH e-Handbook of Statistical Methods, section 6.1.6."""

import pytest

from analytics.estimators.capability import capability_indices


def test_worked_example_of_section_6_1_6() -> None:
    # Limits 8 and 20, mean 16, standard deviation 2.
    found = capability_indices(16, 2, 8, 20)
    assert found.both == pytest.approx(1.0, abs=5e-5)
    assert found.nearest == pytest.approx(0.6667, abs=5e-5)
    assert found.upper == pytest.approx(0.6667, abs=5e-5)
    assert found.lower == pytest.approx(1.3333, abs=5e-5)
