"""Calibration slope against statsmodels, Brier skill by hand, coverage where units repeat, bands."""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import special

from analytics.estimators.calibration import brier_skill, calibration_slope, reliability


def test_slope_agrees_with_statsmodels_by_unit():
    rng = np.random.default_rng(1)
    p, unit = rng.uniform(0.05, 0.9, 300), rng.integers(0, 60, 300)
    y = (rng.random(300) < special.expit(0.7 * special.logit(p))).astype(int)
    got = calibration_slope(y, p, unit)
    model = sm.GLM(y, sm.add_constant(special.logit(p)), sm.families.Binomial())
    oracle = model.fit(tol=1e-12, cov_type="cluster", cov_kwds={"groups": unit, "use_correction": False})
    assert got.estimate == pytest.approx(oracle.params[1], abs=1e-6)
    half = (got.upper - got.lower) / 2 / 2.0010 * np.sqrt(59 / 60)
    assert half == pytest.approx(oracle.bse[1], rel=1e-3)


def test_skill_by_hand():
    y, p, q = [1, 0] * 10, [0.8, 0.2] * 10, [0.5, 0.5] * 10
    got = brier_skill(y, p, q)
    assert got.estimate == pytest.approx(1 - 0.04 / 0.25)
    assert got.lower == pytest.approx(got.upper)
    assert brier_skill(y, q, q).estimate == 0


def test_order_of_rows_does_not_move_the_last_digit():
    rng = np.random.default_rng(2)
    p, q, unit = rng.random(200), rng.random(200), rng.integers(0, 50, 200)
    y, order = (rng.random(200) < p).astype(int), rng.permutation(200)
    assert brier_skill(y, p, q, unit) == brier_skill(y[order], p[order], q[order], unit[order])
    assert brier_skill(y, p, q) == brier_skill(y[order], p[order], q[order])
    assert calibration_slope(y, p, unit) == calibration_slope(y[order], p[order], unit[order])


def test_bands_hold_all_cases_and_like_statements_together():
    p = np.repeat([0.1, 0.3, 0.6], [50, 30, 20])
    y = (np.arange(100) % 10 < 10 * p).astype(int)
    got = reliability(y, p, bands=5)
    assert got.stated == pytest.approx([0.1, 0.3, 0.6])
    assert got.cases.tolist() == [50, 30, 20]
    assert got.happened == pytest.approx([0.1, 0.3, 0.6])
    assert (got.lower < got.stated).all()
    assert (got.stated < got.upper).all()


def test_says_when_data_are_too_few():
    assert str(calibration_slope([1] * 9 + [0] * 30, [0.2] * 39)) == "too few to say (9 of 10 found failed)"
    assert str(brier_skill([1, 0] * 20, [0.4] * 40, [0.5] * 40, np.arange(40) // 5)) == "too few to say (8 of 10 units)"


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: calibration_slope([1, 0] * 10, [0.5] * 20), "must differ"),
        (lambda: calibration_slope([1, 0] * 10, [1.0, 0.5] * 10), "strictly between"),
        (lambda: brier_skill([1, 0] * 10, [0.5] * 20, [1.0, 0.0] * 10), "never errs"),
        (lambda: brier_skill([2, 0] * 10, [0.5] * 20, [1.0, 0.0] * 10), "0 or 1"),
        (lambda: calibration_slope([1, 0] * 10, [0.9, 0.1] * 10), "without exception"),
    ],
)
def test_refuses_impossible_input_in_words(call, words):
    with pytest.raises(ValueError, match=words), np.errstate(all="ignore"):
        call()


def test_slope_and_skill_cover_what_they_promise_where_units_repeat():
    rng, held, repeats = np.random.default_rng(20260121), np.zeros(2), 400
    big = rng.normal(-1, 1, 400_000)
    base = special.expit(big)
    # Truth: outcome probability is the statement; the reference is the mean.
    skill = 1 - np.mean(base * (1 - base)) / (base.mean() * (1 - base.mean()))
    for _ in range(repeats):
        unit = np.repeat(np.arange(60), 4)
        own = special.expit(rng.normal(-1, 1, 60))[unit]
        y = (rng.random(len(unit)) < own).astype(int)
        slope = calibration_slope(y, own, unit)
        found = brier_skill(y, own, np.full(len(unit), base.mean()), unit)
        held += [slope.lower <= 1 <= slope.upper, found.lower <= skill <= found.upper]
    assert ((held / repeats >= 0.92) & (held / repeats <= 0.98)).all()
