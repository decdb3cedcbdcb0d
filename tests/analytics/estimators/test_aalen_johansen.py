"""Cumulative incidence against lifelines and Kaplan-Meier, the jackknife by brute force, and coverage."""

import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines import AalenJohansenFitter

from analytics.estimators.aalen_johansen import aalen_johansen
from analytics.estimators.kaplan_meier import kaplan_meier

rows = st.lists(st.tuples(st.integers(1, 12), st.integers(0, 3)), min_size=2, max_size=40)
late_rows = st.lists(
    st.integers(1, 12).flatmap(lambda t: st.tuples(st.just(t), st.integers(0, 2), st.integers(0, t - 1))),
    min_size=2,
    max_size=40,
)


@given(st.integers(2, 40), st.integers(0, 10_000))
@settings(deadline=None, max_examples=40)
def test_agrees_with_lifelines_where_nothing_is_tied(size, seed):
    rng = np.random.default_rng(seed)
    duration, cause = rng.permutation(size) + 1.0, rng.integers(0, 3, size)
    entry = duration * rng.uniform(0, 0.5, size) * (rng.random(size) < 0.3)
    if not (cause == 1).any():
        return
    ours = aalen_johansen(duration, cause, 2, entry=entry)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        oracle = AalenJohansenFitter().fit(duration, cause, event_of_interest=1, entry=entry)
    # lifelines restarts a curve whose risk set has emptied; compare up to there.
    times = ours.table.time[(ours.table.at_risk > 0) & (ours.survival > 0)]
    read = ours.at(1, times)
    assert read.estimate[0] == pytest.approx(oracle.cumulative_density_.loc[times].to_numpy()[:, 0])
    row = np.searchsorted(ours.table.time, times)
    assert ours.variance[0][row] == pytest.approx(oracle.variance_.loc[times].to_numpy(), abs=1e-12)
    inner = (read.estimate[0] > 0) & (read.estimate[0] < 1)
    limits = np.sort(oracle.confidence_interval_.loc[times].to_numpy(), axis=1)
    assert read.lower[0][inner] == pytest.approx(limits[inner, 0])
    assert read.upper[0][inner] == pytest.approx(limits[inner, 1])


def test_ties_are_the_limit_of_ever_smaller_jitter():
    rng = np.random.default_rng(2)
    duration, cause = rng.integers(1, 200, 4000), rng.integers(0, 3, 4000)
    ours = aalen_johansen(duration, cause, 2)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        # lifelines jitters ties at random, we do not: the two differ by one step in the size of the risk set.
        oracle = AalenJohansenFitter(seed=1, jitter_level=1e-6).fit(duration, cause, event_of_interest=1)
    times = np.array([20, 60, 120, 180])
    theirs = np.array([oracle.predict(t + 0.5) for t in times]).ravel()
    assert ours.at(1, times).estimate[0] == pytest.approx(theirs, abs=2e-3)


@given(rows)
@settings(deadline=None)
def test_survival_and_incidences_sum_to_one_and_survival_is_kaplan_meier(data):
    duration, cause = np.array(data).T
    ours = aalen_johansen(duration, cause, 3)
    assert ours.survival + ours.incidence.sum(0) == pytest.approx(np.ones(len(ours.survival)))
    assert ours.survival == pytest.approx(kaplan_meier(duration, cause > 0).survival)


@given(late_rows)
@settings(deadline=None)
def test_one_cause_alone_is_one_minus_kaplan_meier(data):
    duration, cause, entry = np.array(data).T
    failed = (cause > 0).astype(int)
    ours, curve = aalen_johansen(duration, failed, 1, entry=entry), kaplan_meier(duration, failed, entry=entry)
    assert ours.incidence[0] == pytest.approx(1 - curve.survival)
    alive = curve.survival > 0
    assert ours.variance[0][alive] == pytest.approx((curve.survival**2 * curve.log_variance)[alive], abs=1e-12)


@given(late_rows, st.integers(0, 1000))
@settings(deadline=None)
def test_order_and_other_groups_do_not_matter(data, seed):
    duration, cause, entry = np.array(data).T
    rng = np.random.default_rng(seed)
    order, group = rng.permutation(len(data)), rng.integers(0, 2, len(data))
    one = aalen_johansen(duration, cause, 2, entry=entry, group=group, groups=2)
    two = aalen_johansen(duration[order], cause[order], 2, entry=entry[order], group=group[order], groups=2)
    assert np.array_equal(one.upper, two.upper)
    mine, span = group == 1, slice(*one.table.start[1:3])
    if mine.any():
        alone = aalen_johansen(duration[mine], cause[mine], 2, entry=entry[mine])
        assert np.array_equal(alone.lower, one.lower[:, span])


@given(rows)
@settings(deadline=None)
def test_limits_hold_the_estimate_and_repeats_never_narrow_them(data):
    duration, cause = np.array(data).T
    plain = aalen_johansen(duration, cause, 3)
    by_unit = aalen_johansen(duration, cause, 3, unit=np.arange(len(data)) // 3)
    once = aalen_johansen(duration, cause, 3, unit=np.arange(len(data)))
    for curves in (plain, by_unit):
        assert (curves.lower <= curves.incidence + 1e-12).all()
        assert (curves.incidence <= curves.upper + 1e-12).all()
        assert curves.lower.min() >= 0
        assert curves.upper.max() <= 1
    assert np.array_equal(once.lower, plain.lower)
    assert (by_unit.variance >= plain.variance - 1e-12).all()


def incidence_at(time, duration, cause, entry, weight):
    curves = aalen_johansen(duration, cause, 2, entry=entry, weight=weight)
    return curves.at(1, [time]).estimate[0, 0]


def test_variance_by_unit_is_the_grouped_infinitesimal_jackknife():
    rng = np.random.default_rng(3)
    duration = np.append(rng.integers(2, 15, 40), [16, 16])
    cause = np.append(rng.integers(0, 3, 40), [0, 0])
    entry = np.append(np.minimum(rng.integers(0, 4, 40), duration[:40] - 1), [0, 0])
    # Units whose jobs share a fate, so that the variance between units is the larger one.
    unit = np.append(duration[:40] // 3 + cause[:40] * 6, [20, 20])
    got = aalen_johansen(duration, cause, 2, entry=entry, unit=unit)
    units, n = len(np.unique(unit)), len(unit)
    for time in (8, 10, 13):
        slope = []
        for row in range(n):
            nudge = np.zeros(n)
            nudge[row] = 1e-4
            up, down = (incidence_at(time, duration, cause, entry, 1 + sign * nudge) for sign in (1, -1))
            slope.append((up - down) / 2e-4)
        wanted = np.sum(np.bincount(unit, weights=slope) ** 2) * units / (units - 1) * (n - 1) / n
        row = int(np.searchsorted(got.table.time, time, side="right")) - 1
        assert wanted > aalen_johansen(duration, cause, 2, entry=entry).variance[0][row]
        assert got.variance[0][row] == pytest.approx(wanted, rel=1e-5)


def test_reads_values_before_and_after_observation():
    curves = aalen_johansen([2, 4, 6], [1, 2, 0], 2, group=[0, 0, 0], groups=2)
    read = curves.at(2, [0, 1, 5, 7])
    assert read.estimate[0] == pytest.approx([0, 0, 1 / 3, 1 / 3])
    assert read.upper[0, :2] == pytest.approx([0, 1 - 0.025 ** (1 / 3)])
    assert read.known[0].tolist() == [True, True, True, False]
    assert not read.known[1].any()
    with pytest.raises(ValueError, match="cause must lie between 1 and 2"):
        curves.at(0, [1])


def test_covers_what_it_promises_where_units_repeat():
    rng, repeats, held = np.random.default_rng(20260107), 500, np.zeros(2)
    truth = float(np.mean((1 - np.exp(-0.05 * 12 * (f := rng.gamma(1, 1, 400_000)))) * 0.6 * (f > 0)))
    for _ in range(repeats):
        unit = np.repeat(np.arange(40), 4)
        frailty = rng.gamma(1, 1, 40)[unit]
        life, follow = rng.exponential(1 / (0.05 * frailty)), rng.uniform(3, 40, len(unit))
        cause = np.where(life <= follow, np.where(rng.random(len(unit)) < 0.6, 1, 2), 0)
        for place, codes in enumerate((unit, None)):
            read = aalen_johansen(np.minimum(life, follow), cause, 2, unit=codes).at(1, [12])
            held[place] += read.lower[0, 0] <= truth <= read.upper[0, 0]
    assert 0.93 <= held[0] / repeats <= 0.975
    assert held[1] < held[0]
