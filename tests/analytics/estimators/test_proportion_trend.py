"""Trend of a proportion by year: statsmodels, too few data, and coverage with and without clustering."""

import numpy as np
import pytest
import statsmodels.api as sm

from analytics.estimators.proportion_trend import proportion_trend

YEARS = np.arange(2015, 2023)


def test_agrees_with_plain_logistic_regression_on_plenty_of_data():
    failed = np.array([200, 260, 280, 330, 390, 400, 470, 520])
    inspected = np.full(8, 2000)
    got = proportion_trend(failed, inspected, YEARS)
    design = sm.add_constant(YEARS - YEARS.mean())
    oracle = sm.GLM(np.stack([failed, inspected - failed], 1), design, sm.families.Binomial()).fit()
    assert np.log(got.odds_ratio[0]) == pytest.approx(oracle.params[1], rel=1e-3)
    assert np.log(got.lower[0]) == pytest.approx(oracle.conf_int()[1, 0], rel=0.02)


def test_a_design_effect_widens_and_never_narrows():
    failed, inspected = np.array([5, 6, 7, 9, 9, 11, 12, 15]), np.full(8, 60)
    plain, wide, below = (proportion_trend(failed, inspected, YEARS, effect) for effect in (1.0, 4.0, 0.3))
    assert np.log(wide.upper / wide.lower) == pytest.approx(2 * np.log(plain.upper / plain.lower))
    assert below.lower == plain.lower
    assert wide.p_value > plain.p_value


def test_says_which_groups_have_too_few_data():
    failed = [[0, 1, 1, 2], [3, 0, 3, 0], [9, 9, 9, 9], [1, 2, 3, 4]]
    inspected = [[9, 9, 9, 9], [9, 0, 9, 9], [10, 10, 10, 10], [9, 9, 9, 9]]
    got = proportion_trend(failed, inspected, [1, 2, 3, 4])
    assert got.group.tolist() == [3]
    assert [(row, str(words)) for row, words in got.too_few] == [
        (0, "too few to say (4 of 5 found failed)"),
        (1, "too few to say (3 of 4 years with inspections)"),
        (2, "too few to say (4 of 5 found sound)"),
    ]


def test_refuses_more_failed_than_inspected():
    with pytest.raises(ValueError, match="not exceed"):
        proportion_trend([[3, 1, 1, 1]], [[2, 9, 9, 9]], [1, 2, 3, 4])


@pytest.mark.parametrize(("correlation", "low", "high"), [(0.0, 0.94, 0.985), (0.03, 0.93, 0.97)])
def test_covers_what_it_promises(correlation, low, high):
    rng = np.random.default_rng(20260104)
    truth, years = 1.15, np.arange(10)
    share = 1 / (1 + np.exp(1.1 - np.log(truth) * (years - 4.5)))
    inspected = rng.poisson(100, size=(3000, 10))
    own = share
    if correlation:
        scale = 1 / correlation - 1
        own = rng.beta(share * scale, (1 - share) * scale, size=inspected.shape)
    got = proportion_trend(rng.binomial(inspected, own), inspected, years)
    assert low <= np.mean((got.lower <= truth) & (truth <= got.upper)) <= high


def test_p_values_of_flat_series_are_not_too_small():
    rng = np.random.default_rng(20260105)
    inspected = rng.poisson(60, size=(4000, 8))
    got = proportion_trend(rng.binomial(inspected, 0.2), inspected, YEARS)
    assert np.mean(got.p_value <= 0.05) <= 0.06
