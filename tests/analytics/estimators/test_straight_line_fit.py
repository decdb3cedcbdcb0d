"""Lines against statsmodels and against Firth's penalised likelihood maximised directly."""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import optimize, special

from analytics.estimators.straight_line_fit import log_linear, logistic


def test_log_linear_agrees_with_statsmodels():
    rng = np.random.default_rng(1)
    x = np.linspace(-1, 1, 30)
    exposure = rng.uniform(0.5, 4, (5, 30))
    y = rng.poisson(exposure * np.exp(0.5 + rng.normal(size=(5, 1)) * x))
    lines = log_linear(y.astype(float), x, exposure)
    for row in range(5):
        oracle = sm.GLM(y[row], sm.add_constant(x), sm.families.Poisson(), exposure=exposure[row]).fit(tol=1e-13)
        assert [lines.level[row], lines.slope[row]] == pytest.approx(oracle.params, abs=1e-7)
        assert np.sqrt(lines.variance[row]) == pytest.approx(oracle.bse[1], rel=1e-6)
        moved = lines.influence[row] * (y[row] - lines.mean[row])
        robust = sm.GLM(y[row], sm.add_constant(x), sm.families.Poisson(), exposure=exposure[row])
        robust = robust.fit(tol=1e-13, cov_type="HC0")
        assert np.sqrt(np.sum(moved**2)) == pytest.approx(robust.bse[1], rel=1e-6)


def test_log_linear_says_when_no_line_fits():
    with pytest.raises(ValueError, match="all at one end"):
        log_linear(np.array([[0.0, 0.0, 9.0]]), np.array([-1.0, 0.0, 1.0]), np.ones((1, 3)))


def firth_objective(parameters, y, n, x):
    eta = parameters[0] + parameters[1] * x
    share = special.expit(eta)
    weight = n * share * (1 - share)
    information = np.array([[weight.sum(), (weight * x).sum()], [(weight * x).sum(), (weight * x * x).sum()]])
    return -(np.sum(y * eta - n * np.logaddexp(0, eta)) + 0.5 * np.linalg.slogdet(information)[1])


@pytest.mark.parametrize("y", [[1, 2, 4, 3, 9], [0, 0, 0, 0, 5], [0, 0, 0, 10, 10]])
def test_logistic_maximises_firths_penalised_likelihood(y):
    x, n, y = np.linspace(-1, 1, 5), np.full(5, 10.0), np.array(y, dtype=float)
    best = optimize.minimize(firth_objective, [0, 0], args=(y, n, x), method="BFGS", options={"gtol": 1e-9})
    lines = logistic(y[None], n[None], x)
    assert [lines.level[0], lines.slope[0]] == pytest.approx(best.x, abs=1e-4)
