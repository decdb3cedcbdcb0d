"""Pooling: Rubin's rules by hand, nothing missing, and coverage of a curve whose censoring times are filled in."""

import numpy as np
import pytest
from scipy import stats

from analytics.estimators.kaplan_meier import kaplan_meier
from analytics.estimators.multiple_imputation import pool, pool_survival


def test_rules_by_hand():
    got = pool([[1.0], [2.0], [3.0]], [[0.5], [0.6], [0.4]], complete_freedom=20)
    total = 0.5 + (1 + 1 / 3) * 1.0
    missing = (4 / 3) / total
    old, seen = 2 / missing**2, 21 / 23 * 20 * (1 - missing)
    freedom = 1 / (1 / old + 1 / seen)
    assert got.variance == pytest.approx([total])
    assert got.missing == pytest.approx([missing])
    assert got.freedom == pytest.approx([freedom])
    assert got.upper == pytest.approx([2 + stats.t.ppf(0.975, freedom) * np.sqrt(total)])


def test_nothing_missing_changes_nothing():
    got = pool([1.5, 1.5, 1.5], [0.04, 0.04, 0.04])
    assert (got.lower, got.upper) == pytest.approx((1.5 - 1.959964 * 0.2, 1.5 + 1.959964 * 0.2), abs=1e-4)
    assert got.missing == 0
    once = pool([1.5, 1.5], [0.04, 0.04], complete_freedom=9)
    assert once.freedom == pytest.approx(9 * 10 / 12, rel=1e-6)


def test_equal_curves_pool_to_themselves():
    rng = np.random.default_rng(1)
    curve = kaplan_meier(rng.integers(1, 40, 200), rng.integers(0, 2, 200))
    read, (pooled, missing) = curve.at([0, 5, 20]), pool_survival([curve, curve, curve], [0, 5, 20])
    assert pooled.estimate == pytest.approx(read.estimate)
    assert pooled.lower == pytest.approx(read.lower, abs=1e-6)
    assert pooled.upper == pytest.approx(read.upper, abs=1e-6)
    assert (missing == 0).all()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [(([1.0], [1.0]), "at least 2"), (([1.0, 2.0], [1.0]), "one shape"), (([1.0, np.nan], [1.0, 1.0]), "finite")],
)
def test_refuses_impossible_input_in_words(arguments, words):
    with pytest.raises(ValueError, match=words):
        pool(*arguments)


def coverage(seed, repeats, jobs=120, imputations=10):
    """Share of samples whose limits at 40 (thousand km) hold the truth: filled in at the mean, and pooled.

    Km a month differ between units; sound units' distance at the end of observation is unknown and is filled in from
    the fitted distribution of km a month.
    """
    rng, truth, held = np.random.default_rng(seed), np.exp(-40 / 120), np.zeros(2)
    missing = []
    for _ in range(repeats):
        pace, months = np.exp(rng.normal(1.0, 0.6, jobs)), rng.uniform(2, 30, jobs)
        life, driven = rng.exponential(120, jobs), pace * months
        failed, followed = life <= driven, np.minimum(life, driven)
        known = rng.random(jobs) < 0.3
        logs = np.log(pace[known])
        curves = []
        for _ in range(imputations):
            spread = logs.std(ddof=1) * np.sqrt((len(logs) - 1) / rng.chisquare(len(logs) - 1))
            level = logs.mean() + spread / np.sqrt(len(logs)) * rng.normal()
            drawn = np.exp(rng.normal(level, spread, jobs)) * months
            curves.append(kaplan_meier(np.where(failed | known, followed, drawn), failed))
        pooled, share = pool_survival(curves, [40])
        fixed = kaplan_meier(np.where(failed | known, followed, np.exp(logs.mean()) * months), failed).at([40])
        held[0] += fixed.lower[0, 0] <= truth <= fixed.upper[0, 0]
        held[1] += pooled.lower[0, 0] <= truth <= pooled.upper[0, 0]
        missing.append(share[0, 0])
    return held / repeats, float(np.mean(missing))


def test_pooled_curve_covers_what_it_promises():
    (_, pooled), missing = coverage(20260119, 250)
    assert 0.92 <= pooled <= 0.985
    assert 0 < missing < 0.5


@pytest.mark.long
def test_pooled_curve_covers_closely():
    (_, pooled), _ = coverage(5, 2500)
    assert 0.93 <= pooled <= 0.97
