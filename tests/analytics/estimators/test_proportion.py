"""Proportion intervals against statsmodels, and their coverage where findings cluster by unit."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.proportion import proportion_confint

from analytics.estimators.proportion import (
    clopper_pearson,
    cluster_wilson,
    effective_inspected,
    jeffreys,
    wilson,
)

counts = st.integers(1, 400).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))
levels = st.sampled_from([0.5, 0.8, 0.9, 0.95, 0.99])
unit_rows = st.lists(
    st.integers(1, 9).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))), min_size=1, max_size=30
)


def sums(failed, inspected):
    """Sum over units (last axis) in the order `cluster_wilson` takes them."""
    x, n = np.asarray(failed), np.asarray(inspected)
    units = np.full(x.shape[:-1], x.shape[-1])
    return x.sum(-1), n.sum(-1), units, (x * x).sum(-1), (x * n).sum(-1), (n * n).sum(-1)


@given(counts, levels)
@settings(deadline=None)
def test_agrees_with_statsmodels(count, level):
    x, n = count
    for ours, name in ((wilson, "wilson"), (clopper_pearson, "beta"), (jeffreys, "jeffreys")):
        lower, upper = proportion_confint(x, n, alpha=1 - level, method=name)
        got = ours(x, n, level)
        # Jeffreys limits go to 0 and 1 at the ends (Brown, Cai & DasGupta 2001); statsmodels leaves them
        # short.
        if not (name == "jeffreys" and x == 0):
            assert got.lower == pytest.approx(lower, abs=1e-9)
        if not (name == "jeffreys" and x == n):
            assert got.upper == pytest.approx(upper, abs=1e-9)


@given(counts, levels)
@settings(deadline=None)
def test_limits_are_ordered_mirrored_and_inside_zero_and_one(count, level):
    x, n = count
    for ours in (wilson, clopper_pearson, jeffreys):
        got, mirrored = ours(x, n, level), ours(n - x, n, level)
        assert 0 <= got.lower <= got.estimate <= got.upper <= 1
        assert got.lower == pytest.approx(1 - mirrored.upper, abs=1e-9)


@given(counts, levels)
@settings(deadline=None)
def test_one_finding_a_unit_is_exactly_wilson(count, level):
    x, n = count
    got, plain = cluster_wilson(x, n, n, x, x, n, level), wilson(x, n, level)
    assert (got.lower, got.upper) == (plain.lower, plain.upper)


@given(unit_rows)
@settings(deadline=None)
def test_clusters_never_narrow_the_interval(rows):
    failed, inspected = np.array(rows).T
    got, plain = cluster_wilson(*sums(failed, inspected)), wilson(failed.sum(), inspected.sum())
    assert 0 <= got.lower <= got.estimate <= got.upper <= 1
    assert got.upper - got.lower >= plain.upper - plain.lower - 1e-12


@given(unit_rows, st.integers(2, 5))
@settings(deadline=None)
def test_wholly_dependent_findings_are_worth_one_a_unit(rows, copies):
    outcome = np.array([int(x > 0) for x, _ in rows])
    x, n = outcome * copies, np.full(len(rows), copies)
    assert len(rows) - 1 <= effective_inspected(*sums(x, n)) <= len(rows) + 1e-9


def test_groups_are_computed_apart_from_each_other():
    failed, inspected = (
        np.array([[1, 0, 2], [3, 3, 0], [0, 0, 0]]),
        np.array([[2, 2, 3], [3, 3, 1], [5, 4, 1]]),
    )
    together = cluster_wilson(*sums(failed, inspected))
    for row in range(3):
        alone = cluster_wilson(*sums(failed[row], inspected[row]))
        assert (alone.lower, alone.upper) == (together.lower[row], together.upper[row])


@pytest.mark.parametrize(
    ("failed", "inspected", "words"),
    [
        (3, 2, "must not exceed"),
        (0, 0, "more than zero"),
        (1.5, 3, "whole number"),
        (-1, 3, "zero or more"),
        (np.nan, 3, "finite"),
    ],
)
def test_refuses_impossible_counts_in_words(failed, inspected, words):
    with pytest.raises(ValueError, match=words):
        wilson(failed, inspected)


def test_refuses_sums_that_no_units_give():
    with pytest.raises(ValueError, match="cannot come from one set of units"):
        cluster_wilson(2, 10, 2, 2, 1, 10)


def coverage(seed, units, mean_findings, probability, correlation, repeats):
    """Share of beta-binomial samples whose clustered and plain interval hold the truth."""
    rng = np.random.default_rng(seed)
    inspected = rng.integers(1, 2 * mean_findings, size=(repeats, units))
    scale = (1 - correlation) / correlation
    own = rng.beta(probability * scale, (1 - probability) * scale, size=(repeats, units))
    failed = rng.binomial(inspected, own)
    held = []
    for interval in (cluster_wilson(*sums(failed, inspected)), wilson(failed.sum(1), inspected.sum(1))):
        held.append(float(np.mean((interval.lower <= probability) & (probability <= interval.upper))))
    return held


@pytest.mark.parametrize(("units", "probability", "correlation"), [(15, 0.5, 0.3), (30, 0.2, 0.3), (100, 0.2, 0.1)])
def test_covers_what_it_promises_when_findings_cluster_by_unit(units, probability, correlation):
    clustered, plain = coverage(20260101, units, 5, probability, correlation, 6000)
    assert 0.93 <= clustered <= 0.97
    assert plain < 0.92


@pytest.mark.long
@pytest.mark.parametrize("units", [8, 15, 30, 100])
@pytest.mark.parametrize("probability", [0.1, 0.2, 0.5])
@pytest.mark.parametrize("correlation", [0.01, 0.1, 0.3])
def test_covers_over_the_range_a_workshop_meets(units, probability, correlation):
    clustered, _ = coverage(7, units, 3, probability, correlation, 40_000)
    assert 0.93 <= clustered <= 0.99
