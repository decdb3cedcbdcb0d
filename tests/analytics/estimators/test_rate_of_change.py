"""Rate of change of monthly counts: known series, statsmodels, too few data, and coverage."""

import numpy as np
import pytest
import statsmodels.api as sm

from analytics.estimators.rate_of_change import rate_of_change


def test_finds_the_growth_of_a_series_that_grows_exactly():
    months = np.arange(48)
    got = rate_of_change(np.round(1e6 * 1.2 ** (months / 12)))
    assert got.change == pytest.approx([0.2], abs=1e-5)
    assert got.lower < 0.2 < got.upper


def test_change_is_of_the_rate_when_exposure_is_given():
    jobs = np.arange(10, 46)
    got = rate_of_change(jobs * 30, jobs)
    assert got.change == pytest.approx([0.0], abs=1e-9)
    assert got.dispersion == pytest.approx([1.0])


def test_interval_is_quasi_poisson_where_months_are_independent():
    counts = np.tile([12, 3, 9, 2, 11, 4, 10, 1], 6)
    got = rate_of_change(counts)
    years = sm.add_constant(np.arange(48) / 12)
    oracle = sm.GLM(counts, years, sm.families.Poisson()).fit(scale="X2", use_t=True)
    # Months that alternate move apart, not together: the quasi-Poisson variance is the larger one.
    assert np.log1p([got.lower[0], got.upper[0]]) == pytest.approx(oracle.conf_int()[1], rel=1e-6)


def test_months_that_move_together_widen_the_interval():
    alternating = np.tile([12.0, 2.0], 30)
    waves = np.repeat(np.tile([12.0, 2.0], 5), 6)
    apart, together = rate_of_change(alternating), rate_of_change(waves)
    assert together.upper - together.lower > 1.3 * (apart.upper - apart.lower)


def test_says_which_groups_have_too_few_data():
    counts = np.zeros((4, 24), int)
    counts[0, ::2] = 1
    counts[1, :9] = 1
    counts[2, :2] = 20
    exposure = np.ones((4, 24))
    exposure[3, 11:] = 0
    counts[3, :11] = 7
    got = rate_of_change(counts, exposure)
    assert got.group.tolist() == [0]
    assert [(row, str(words)) for row, words in got.too_few] == [
        (1, "too few to say (9 of 10 events)"),
        (2, "too few to say (2 of 3 months with events)"),
        (3, "too few to say (11 of 12 months)"),
    ]


def test_groups_do_not_mix():
    counts = np.random.default_rng(4).poisson(4, (6, 60))
    together = rate_of_change(counts)
    alone = [rate_of_change(row) for row in counts]
    assert together.lower == pytest.approx([one.lower[0] for one in alone], rel=1e-9)


def test_refuses_counts_without_exposure():
    with pytest.raises(ValueError, match="months without exposure"):
        rate_of_change([1] * 12, [0] + [1] * 11)


@pytest.mark.parametrize("dispersion", [1.5, 3.0])
@pytest.mark.parametrize(("months", "mean"), [(24, 5), (120, 1)])
def test_covers_what_it_promises_when_counts_are_over_dispersed(months, mean, dispersion):
    rng = np.random.default_rng(20260103)
    truth = 0.1
    level = mean * (1 + truth) ** (np.arange(months) / 12)
    extra = (dispersion - 1) / mean
    counts = rng.poisson(level * rng.gamma(1 / extra, extra, size=(3000, months)))
    got = rate_of_change(counts)
    assert len(got.group) > 2900
    assert 0.93 <= np.mean((got.lower <= truth) & (truth <= got.upper)) <= 0.97
