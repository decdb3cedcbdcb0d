"""Survival curves against lifelines and statsmodels, the jackknife by brute force, and coverage where units repeat."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines import KaplanMeierFitter
from statsmodels.duration.survfunc import SurvfuncRight

from analytics.estimators.arrays import ranked
from analytics.estimators.kaplan_meier import kaplan_meier
from analytics.estimators.risk_table import risk_table

# Whole months, so that ties are the rule.
rows = st.lists(st.tuples(st.integers(1, 12), st.integers(0, 1)), min_size=1, max_size=40)
late_rows = st.lists(
    st.integers(1, 12).flatmap(lambda t: st.tuples(st.just(t), st.integers(0, 1), st.integers(0, t - 1))),
    min_size=1,
    max_size=40,
)


@given(rows)
@settings(deadline=None)
def test_agrees_with_lifelines_where_somebody_failed_and_somebody_is_left(data):
    duration, failed = np.array(data).T
    ours = kaplan_meier(duration, failed)
    oracle = KaplanMeierFitter().fit(duration, failed)
    times = ours.table.time
    assert ours.survival == pytest.approx(oracle.survival_function_at_times(times).to_numpy())
    limits = oracle.confidence_interval_survival_function_.loc[times].to_numpy()
    inner = (ours.survival > 0) & (ours.survival < 1)
    assert ours.lower[inner] == pytest.approx(limits[inner, 0])
    assert ours.upper[inner] == pytest.approx(limits[inner, 1])


@given(late_rows)
@settings(deadline=None)
def test_agrees_with_statsmodels_with_late_entry_and_ties(data):
    duration, failed, entry = np.array(data).T
    if not failed.any():
        return
    ours = kaplan_meier(duration, failed, entry=entry)
    oracle = SurvfuncRight(duration, failed, entry=entry)
    at = np.searchsorted(ours.table.time, oracle.surv_times)
    assert ours.table.at_risk[at] == pytest.approx(oracle.n_risk)
    assert ours.table.events[0][at] == pytest.approx(oracle.n_events)
    assert ours.survival[at] == pytest.approx(oracle.surv_prob)
    alive = ours.survival[at] > 0
    error = ours.survival[at] * np.sqrt(ours.log_variance[at])
    assert error[alive] == pytest.approx(oracle.surv_prob_se[alive])


@given(late_rows, st.lists(st.integers(0, 2), min_size=40, max_size=40), st.integers(0, 1000))
@settings(deadline=None)
def test_groups_weights_and_order_do_not_mix(data, codes, seed):
    duration, failed, entry = np.array(data).T
    group = np.array(codes[: len(data)])
    order = np.random.default_rng(seed).permutation(len(data))
    together = kaplan_meier(duration, failed, entry=entry, group=group, groups=3)
    shuffled = kaplan_meier(duration[order], failed[order], entry=entry[order], group=group[order], groups=3)
    assert np.array_equal(together.lower, shuffled.lower)
    for code in range(3):
        mine, span = group == code, slice(*together.table.start[code : code + 2])
        if mine.any():
            alone = kaplan_meier(duration[mine], failed[mine], entry=entry[mine], weight=np.ones(mine.sum()))
            assert np.array_equal(alone.survival, together.survival[span])
            assert np.array_equal(alone.upper, together.upper[span])


@given(rows, st.integers(2, 4))
@settings(deadline=None)
def test_a_weight_stands_for_that_many_rows(data, copies):
    duration, failed = np.array(data).T
    weighted = kaplan_meier(duration, failed, weight=np.full(len(data), copies))
    repeated = kaplan_meier(np.repeat(duration, copies), np.repeat(failed, copies))
    assert weighted.survival == pytest.approx(repeated.survival)
    assert weighted.log_variance == pytest.approx(repeated.log_variance)


@given(late_rows)
@settings(deadline=None)
def test_units_seen_once_give_greenwood_exactly(data):
    duration, failed, entry = np.array(data).T
    plain = kaplan_meier(duration, failed, entry=entry)
    by_unit = kaplan_meier(duration, failed, entry=entry, unit=np.arange(len(data))[::-1])
    assert np.array_equal(by_unit.log_variance, plain.log_variance)
    assert np.array_equal(by_unit.lower, plain.lower)


@given(rows)
@settings(deadline=None)
def test_repeats_never_narrow_the_limits(data):
    duration, failed = np.array(data).T
    plain = kaplan_meier(duration, failed)
    by_unit = kaplan_meier(duration, failed, unit=np.arange(len(data)) // 3)
    assert (by_unit.lower <= plain.lower + 1e-12).all()


def brute_variance(duration, failed, entry, unit, time):
    """Derivative of log survival by each observation's weight, added by unit and squared."""
    size = len(duration)
    slope = np.zeros(size)
    for row in range(size):
        values = []
        for shift in (1e-4, -1e-4):
            weight = np.ones(size)
            weight[row] += shift
            table = risk_table(duration, failed, 1, entry=entry, weight=weight)
            upto = (table.time <= time) & (table.events[0] > 0)
            values.append(np.sum(np.log1p(-table.events[0][upto] / table.at_risk[upto])))
        slope[row] = (values[0] - values[1]) / 2e-4
    by_unit = np.bincount(unit, weights=slope)
    return float(np.sum(by_unit**2))


def test_variance_by_unit_is_the_grouped_infinitesimal_jackknife():
    rng = np.random.default_rng(3)
    duration = np.append(rng.integers(2, 15, 40), [16, 16])
    failed = np.append(rng.integers(0, 2, 40), [0, 0])
    entry = np.append(np.minimum(rng.integers(0, 4, 40), duration[:40] - 1), [0, 0])
    # Units whose jobs share a fate, so that the variance between units is the larger one.
    unit = np.append((duration[:40] + failed[:40] * 20) % 12, [12, 12])
    got = kaplan_meier(duration, failed, entry=entry, unit=unit)
    units, n = len(np.unique(unit)), len(unit)
    factor = units / (units - 1) * (n - 1) / n
    for time in (5, 8, 12):
        row = int(np.searchsorted(got.table.time, time, side="right")) - 1
        wanted = factor * brute_variance(duration, failed, entry, unit, time)
        assert wanted > kaplan_meier(duration, failed, entry=entry).log_variance[row]
        assert got.log_variance[row] == pytest.approx(wanted, rel=1e-5)


@given(rows, st.integers(1, 16), st.integers(0, 1000))
@settings(deadline=None)
def test_the_quick_way_from_the_origin_is_the_general_one(data, units, seed):
    duration, failed = np.array(data).T
    rng = np.random.default_rng(seed)
    unit, group = rng.integers(0, units, len(data)), rng.integers(0, 2, len(data))
    quick = kaplan_meier(duration, failed, unit=unit, group=group, groups=2)
    general = kaplan_meier(duration, failed, unit=unit, group=group, groups=2, weight=np.ones(len(data)))
    assert quick.log_variance == pytest.approx(general.log_variance, abs=1e-12)
    assert quick.lower == pytest.approx(general.lower)


@given(st.lists(st.integers(0, 50), min_size=1, max_size=30))
def test_ranks_are_those_of_sorting(values):
    for numbers in (np.array(values), np.array(values) / 2, np.array(values) * 1e6):
        distinct, place = ranked(numbers)
        wanted, at = np.unique(numbers, return_inverse=True)
        assert np.array_equal(distinct, wanted)
        assert np.array_equal(place, at)


def test_reads_values_quantiles_and_who_was_at_risk():
    curves = kaplan_meier([2, 4, 4, 6, 9], [1, 1, 0, 0, 0], group=[0, 0, 0, 0, 2], groups=3)
    read = curves.at([0, 1, 2, 5, 6, 7])
    assert read.estimate[0] == pytest.approx([1, 1, 0.75, 0.5, 0.5, 0.5])
    assert read.at_risk[0].tolist() == [4, 4, 4, 1, 1, 0]
    assert read.known[0].tolist() == [True, True, True, True, True, False]
    assert not read.known[1].any()
    assert (read.lower[1, 1:] == 0).all()
    # One observation that did not fail: the exact lower limit is 0.025.
    assert read.lower[2, 1] == pytest.approx(0.025)
    reached = curves.quantile(0.25)
    assert reached.estimate[0] == 2
    assert np.isinf(reached.estimate[2])


def test_when_all_failed_the_upper_limit_stays_where_it_was():
    got = kaplan_meier([1, 2, 3, 4], [1, 1, 1, 1])
    assert got.survival[-1] == 0
    assert got.lower[-1] == 0
    assert got.upper[-1] == got.upper[-2] < 1
    # All of three at once: whoever survives beyond it is fewer than 1 - .025^(1/3).
    assert kaplan_meier([5, 5, 5], [1, 1, 1]).upper[-1] == pytest.approx(1 - 0.025 ** (1 / 3))


@pytest.mark.parametrize("limits", ["log-log", "log", "plain"])
def test_every_scale_keeps_the_limits_about_the_estimate(limits):
    rng = np.random.default_rng(5)
    got = kaplan_meier(rng.integers(1, 30, 200), rng.integers(0, 2, 200), limits=limits)
    assert (got.lower <= got.survival).all()
    assert (got.survival <= got.upper).all()
    assert got.lower.min() >= 0
    assert got.upper.max() <= 1


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"duration": [1, 2], "failed": [1, 2]}, "cause must lie between 0 and 1"),
        ({"duration": [1], "failed": [1], "entry": [1]}, "must begin before it ends"),
        ({"duration": [1, 2], "failed": [1]}, "one length"),
        ({"duration": [np.nan], "failed": [0]}, "finite"),
        ({"duration": [1], "failed": [0], "group": [4], "groups": 2}, "between 0 and 1"),
    ],
)
def test_refuses_impossible_input_in_words(arguments, words):
    with pytest.raises(ValueError, match=words):
        kaplan_meier(**arguments)


def coverage(seed, units, repeats, spread):
    """Share of samples whose limits at 12 months hold the truth, where a unit's jobs share its frailty."""
    rng = np.random.default_rng(seed)
    jobs = 4
    held = np.zeros(2)
    truth = float(np.mean(np.exp(-0.03 * 12 * rng.gamma(1 / spread, spread, 400_000))))
    for _ in range(repeats):
        unit = np.repeat(np.arange(units), jobs)
        frailty = rng.gamma(1 / spread, spread, units)[unit]
        life, follow = rng.exponential(1 / (0.03 * frailty)), rng.uniform(3, 40, len(unit))
        for place, codes in enumerate((unit, None)):
            read = kaplan_meier(np.minimum(life, follow), life <= follow, unit=codes).at([12])
            held[place] += read.lower[0, 0] <= truth <= read.upper[0, 0]
    return held / repeats


def test_covers_what_it_promises_where_units_repeat():
    by_unit, plain = coverage(11, 40, 800, 1.0)
    assert 0.93 <= by_unit <= 0.97
    assert plain < 0.93


@pytest.mark.long
@pytest.mark.parametrize("units", [10, 20, 80])
def test_covers_with_few_and_many_units(units):
    by_unit, _ = coverage(12, units, 4000, 1.0)
    assert 0.93 <= by_unit <= 0.98
