"""NIST/SEMATECH e-Handbook of Statistical Methods, section 8.4.1.3: ten failures of twenty, the rest running at 500.

[stored] The handbook's fit printed a scale of 606.5280 and a shape of 1.7208; the maximum lies at 606.5276, where the
log-likelihood is no smaller: its fourth decimal is the stopping rule of the program that printed it.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import gamma

from analytics.estimators.life_fit import LifeFit, fit_life
from analytics.estimators.life_likelihood import likelihood_terms, log_likelihood
from analytics.estimators.life_models import LOGNORMAL, WEIBULL
from analytics.estimators.life_observations import LifeObservations

FAILURES = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]


def units() -> LifeObservations:
    return LifeObservations([*FAILURES, *[500] * 10], [*FAILURES, *[np.inf] * 10])


def test_weibull_as_printed() -> None:
    fit = fit_life(units(), WEIBULL)
    assert isinstance(fit, LifeFit)
    assert fit.scale == pytest.approx(606.5280, abs=5e-4)
    assert round(fit.shape, 4) == 1.7208
    assert round(fit.log_likelihood, 3) == -75.135
    assert round(fit.aic, 2) == 154.27
    assert fit.scale * gamma(1 + 1 / fit.shape) == pytest.approx(540.737, abs=1e-3)
    spread = fit.scale * np.sqrt(gamma(1 + 2 / fit.shape) - gamma(1 + 1 / fit.shape) ** 2)
    assert spread == pytest.approx(323.806, abs=1e-3)


def test_no_smaller_likelihood_than_at_the_printed_values() -> None:
    fit = fit_life(units(), WEIBULL)
    assert isinstance(fit, LifeFit)
    terms = likelihood_terms(units())
    steepness = np.array(1.7208)
    at = log_likelihood(terms, WEIBULL, steepness * (np.log(606.5280) - terms.centre), steepness)
    assert fit.log_likelihood >= float(at.value)


def test_lognormal_criterion_as_printed() -> None:
    fit = fit_life(units(), LOGNORMAL)
    assert isinstance(fit, LifeFit)
    assert round(fit.aic, 2) == 154.39
