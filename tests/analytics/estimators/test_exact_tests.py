"""Odds ratios against scipy and statsmodels, by enumeration, and the exact interval's promise."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.contingency_tables import StratifiedTable

from analytics.estimators.exact_tests import exact_odds_ratio, mantel_haenszel
from analytics.estimators.interval import TooFew

cells = st.lists(st.integers(0, 25), min_size=4, max_size=4)
full_cells = st.lists(st.integers(1, 25), min_size=4, max_size=4)


@given(cells, st.sampled_from([0.9, 0.95]))
@settings(deadline=None)
def test_one_table_agrees_with_scipy(counts, level):
    table = np.array(counts).reshape(2, 2)
    got = exact_odds_ratio(table, level)
    if (table.sum(0) == 0).any() or (table.sum(1) == 0).any():
        assert isinstance(got, TooFew)
        return
    oracle = stats.contingency.odds_ratio(table)
    limits = oracle.confidence_interval(level)
    assert got.estimate == pytest.approx(oracle.statistic, rel=1e-4)
    assert got.lower == pytest.approx(limits.low, rel=1e-4)
    assert got.upper == pytest.approx(limits.high, rel=1e-4)
    assert got.p_value == pytest.approx(stats.fisher_exact(table).pvalue, rel=1e-6)


@given(st.lists(full_cells, min_size=1, max_size=6))
@settings(deadline=None)
def test_mantel_haenszel_agrees_with_statsmodels(strata):
    tables = np.array(strata).reshape(-1, 2, 2)
    got, oracle = mantel_haenszel(tables), StratifiedTable(list(tables))
    limits = oracle.oddsratio_pooled_confint()
    assert got.estimate == pytest.approx(oracle.oddsratio_pooled)
    assert (got.lower, got.upper) == pytest.approx(limits)
    assert got.p_value == pytest.approx(oracle.test_null_odds().pvalue)


def test_stratified_tail_is_that_of_every_table_with_those_margins():
    tables = np.array([[[3, 1], [1, 4]], [[2, 2], [0, 5]]])
    got = exact_odds_ratio(tables)
    for log_ratio, keep in ((np.log(got.lower), "at least"), (np.log(got.upper), "at most")):
        weights = {}
        ranges = []
        for (a, b), (c, d) in tables:
            n, bad, marked = a + b + c + d, a + c, a + b
            ranges.append([(v, stats.hypergeom.pmf(v, n, bad, marked)) for v in range(marked + 1)])
        for (v, p), (w, q) in itertools.product(*ranges):
            weights[v + w] = weights.get(v + w, 0) + p * q * np.exp(log_ratio * (v + w))
        inside = sum(w for total, w in weights.items() if (total >= 5 if keep == "at least" else total <= 5))
        assert inside / sum(weights.values()) == pytest.approx(0.025, rel=1e-6)


def test_strata_that_say_nothing_change_nothing():
    table = np.array([[5, 3], [2, 9]])
    idle = np.array([[[0, 4], [0, 7]], [[3, 3], [0, 0]]])
    assert exact_odds_ratio(np.concatenate([table[None], idle])) == exact_odds_ratio(table)


def test_large_counts_do_not_underflow():
    tables = np.tile([[4000, 1000], [500, 4500]], (5, 1, 1))
    exact, weighted = exact_odds_ratio(tables), mantel_haenszel(tables)
    assert exact.estimate == pytest.approx(weighted.estimate, rel=2e-3)
    assert exact.lower == pytest.approx(weighted.lower, rel=0.01)


def test_says_when_one_direction_was_never_seen():
    answer = mantel_haenszel([[4, 0], [1, 3]])
    assert str(answer) == "too few to say (0 of 1 strata that speak against the association)"
    exact = exact_odds_ratio([[5, 0], [0, 4]])
    assert np.isinf(exact.estimate)
    assert np.isinf(exact.upper)
    assert exact.lower > 1


def test_refuses_other_shapes():
    with pytest.raises(ValueError, match="must have shape"):
        exact_odds_ratio([1, 2, 3, 4])


def test_exact_interval_covers_at_least_what_it_promises():
    rng, held, repeats, ratio = np.random.default_rng(20260110), 0, 250, 2.5
    base = np.array([0.1, 0.3, 0.5])
    odds = ratio * base / (1 - base)
    for _ in range(repeats):
        marked, plain = rng.integers(3, 12, 3), rng.integers(5, 20, 3)
        a, c = rng.binomial(marked, odds / (1 + odds)), rng.binomial(plain, base)
        got = exact_odds_ratio(np.stack([np.stack([a, marked - a], 1), np.stack([c, plain - c], 1)], 1))
        held += isinstance(got, TooFew) or got.lower <= ratio <= got.upper
    assert held / repeats >= 0.94
