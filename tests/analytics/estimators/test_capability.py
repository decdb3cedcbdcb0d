"""Capability: oracles, coverage of the intervals, one-sided limits, refusals."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from analytics.estimators.capability import (
    capability,
    moving_range_degrees,
    normal_share_outside,
)
from analytics.estimators.interval import TooFew


def covered(hits: int, count: int, level: float) -> bool:
    """Say whether an exact binomial test at 1 % leaves the nominal level standing."""
    return stats.binomtest(hits, count, level).pvalue > 0.01


def test_cp_interval_covers_with_pooled_groups() -> None:
    random = np.random.default_rng(4001)
    groups = np.repeat(np.arange(12), 3)
    hits = 0
    for _ in range(600):
        readings = random.normal(0, 2, 12)[groups] + random.normal(0, 1, 36)
        interval = capability(readings, -4, 4, groups=groups).cp
        hits += interval.lower <= 8 / 6 <= interval.upper
    assert covered(hits, 600, 0.95)


def test_cp_interval_covers_with_the_moving_range() -> None:
    random = np.random.default_rng(4002)
    hits = 0
    for _ in range(600):
        interval = capability(random.normal(0, 1, 25), -4, 4).cp
        hits += interval.lower <= 8 / 6 <= interval.upper
    assert 0.93 <= hits / 600 <= 0.97


def test_one_sided_ratio_covers_exactly() -> None:
    random = np.random.default_rng(4003)
    hits = 0
    for _ in range(500):
        found = capability(random.normal(0, 1, 15), upper=3)
        assert found.pp is None
        assert found.ppk == found.ppu
        hits += found.ppu.lower <= 1 <= found.ppu.upper
    assert covered(hits, 500, 0.95)


def test_bissell_interval_covers_off_centre() -> None:
    random = np.random.default_rng(4004)
    hits = 0
    for _ in range(600):
        found = capability(random.normal(1, 1, 40), -4, 4)
        hits += found.ppk.lower <= 1 <= found.ppk.upper
    assert 0.93 <= hits / 600 <= 0.975


def test_share_beyond_limits_covers_for_normal_readings() -> None:
    random = np.random.default_rng(4005)
    truth = stats.norm.sf(1.2) + stats.norm.cdf(-2.2)
    hits = 0
    for _ in range(400):
        values = random.normal(0, 1, 20)
        found = normal_share_outside(values.mean(), values.std(ddof=1), 20, -2.2, 1.2)
        hits += found.lower <= truth <= found.upper
    assert 0.925 <= hits / 400 <= 0.975


def test_moving_range_degrees_match_simulated_spread() -> None:
    random = np.random.default_rng(4006)
    estimates = np.abs(np.diff(random.normal(size=(40_000, 20)), axis=1)).mean(axis=1) / 1.128379
    degrees = moving_range_degrees(20)
    chi = stats.chi(degrees)
    assert estimates.std() / estimates.mean() == pytest.approx(chi.std() / chi.mean(), rel=0.02)
    assert degrees == pytest.approx(0.62 * 19, rel=0.05)


@pytest.mark.parametrize(("ratio", "count"), [(0.4, 12), (1.0, 30), (1.6, 60)])
def test_one_sided_interval_agrees_with_scipy(ratio: float, count: int) -> None:
    readings = np.random.default_rng(4008).normal(size=count)
    standard = (readings - readings.mean()) / readings.std(ddof=1)
    found = capability(standard, upper=3 * ratio).ppu
    scale = 3 * np.sqrt(count)
    assert stats.nct.cdf(scale * ratio, count - 1, scale * found.lower) == pytest.approx(0.975, abs=1e-6)
    assert stats.nct.cdf(scale * ratio, count - 1, scale * found.upper) == pytest.approx(0.025, abs=1e-6)


@given(st.lists(st.integers(-50, 50), min_size=10, max_size=30).filter(lambda v: len(set(v)) > 1))
def test_cpk_never_exceeds_cp_and_sides_agree(readings: list[int]) -> None:
    found = capability(readings, -60, 60)
    assert found.cpk.estimate == min(found.cpu.estimate, found.cpl.estimate)
    assert found.cpk.estimate <= found.cp.estimate + 1e-12
    assert 0 <= found.share_outside_normal.lower <= found.share_outside_normal.upper <= 1


def test_the_overall_part_does_not_depend_on_order() -> None:
    readings = np.random.default_rng(4007).normal(size=30)
    first = capability(readings, -3, 3)
    second = capability(readings[::-1], -3, 3)
    assert first.ppk == second.ppk
    assert first.share_outside_normal == second.share_outside_normal


def test_refusals_are_plain() -> None:
    assert capability([1, 2, 3, 4], 0, 5) == TooFew("readings", 4, 10)
    assert capability(range(12), 0, 5, groups=range(12)) == TooFew("repeats within groups", 0, 2)
    with pytest.raises(ValueError, match="found neither"):
        capability(range(12))
    with pytest.raises(ValueError, match="below the upper"):
        capability(range(12), 5, 5)
    with pytest.raises(ValueError, match="all the same"):
        capability([1.0] * 12, 0, 5)
