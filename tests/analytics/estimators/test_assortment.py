"""Assortment: shares exact against enumeration, greedy against exhaustive, use per hundred jobs."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.estimators.assortment import Assortment, assortment_share, smallest_assortment, thickness_use
from analytics.estimators.interval import TooFew


def enumerated_share(packs: list[int], thicknesses: list[int], tolerance: int, copies: int, most: int) -> float:
    """Give the share by trying every stack: the oracle."""
    totals = {
        sum(n * t for n, t in zip(numbers, thicknesses, strict=True))
        for numbers in itertools.product(range(copies + 1), repeat=len(thicknesses))
        if sum(numbers) <= most
    }
    return sum(any(abs(total - pack) <= tolerance for total in totals) for pack in packs) / len(packs)


@settings(max_examples=150, deadline=None)
@given(
    st.lists(st.integers(0, 120), min_size=1, max_size=12),
    st.lists(st.integers(1, 40), max_size=4, unique=True),
    st.integers(0, 5),
    st.integers(1, 3),
    st.integers(1, 4),
)
def test_share_is_exact(packs: list[int], thicknesses: list[int], tolerance: int, copies: int, most: int) -> None:
    found = assortment_share(packs, thicknesses, tolerance, copies, most)
    assert found == pytest.approx(enumerated_share(packs, thicknesses, tolerance, copies, most))


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.integers(1, 80), min_size=1, max_size=10),
    st.lists(st.integers(1, 40), min_size=1, max_size=6, unique=True),
    st.sampled_from([0.5, 0.8, 1.0]),
)
def test_where_it_says_exact_no_smaller_assortment_does(packs: list[int], pool: list[int], aim: float) -> None:
    found = smallest_assortment(packs, pool, 2, aim)
    sizes = [
        size
        for size in range(len(pool) + 1)
        if any(assortment_share(packs, c, 2) >= aim - 1e-12 for c in itertools.combinations(sorted(pool), size))
    ]
    assert found.reached == bool(sizes)
    if found.reached:
        assert found.exact
        assert len(found.thicknesses) == sizes[0]
        assert found.covered.estimate >= aim - 1e-12


def test_three_that_gain_only_together_are_found() -> None:
    """26 is reached by 15, 4 and 2 or 1 alone; neither one nor two of them gain anything."""
    found = smallest_assortment([26], [1, 2, 15, 4], 2, 0.5)
    assert found.reached
    assert len(found.thicknesses) == 3


def realistic(seed: int) -> np.ndarray:
    return np.random.default_rng(seed).normal(1200, 90, 300)


def test_greedy_alone_stays_close_to_the_best_on_small_cases() -> None:
    extra = 0
    for seed in range(4701, 4711):
        pool = list(range(200, 1301, 110))
        best = smallest_assortment(realistic(seed), pool, 15, 0.8, 2, 3, exhaustive_below=100_000)
        greedy = smallest_assortment(realistic(seed), pool, 15, 0.8, 2, 3, exhaustive_below=0)
        assert not greedy.exact or not greedy.thicknesses
        extra += len(greedy.thicknesses) - len(best.thicknesses)
    assert extra <= 10


def test_a_catalogue_of_forty_is_chosen_from() -> None:
    pool = list(range(100, 1100, 25))
    found = smallest_assortment(realistic(4720), pool, 15, 0.95, 2, 4)
    assert found.reached
    assert found.covered.estimate >= 0.95
    assert list(found.share) == sorted(found.share)
    assert len(found.thicknesses) < 12
    again = smallest_assortment(realistic(4720)[::-1], pool[::-1], 15, 0.95, 2, 4)
    assert again == found


def test_an_aim_out_of_reach_is_said() -> None:
    found = smallest_assortment([1000, 2000], [500], 10, 1.0, copies=2)
    assert isinstance(found, Assortment)
    assert not found.reached
    assert found.covered.estimate == 0.5


def test_use_per_hundred_jobs() -> None:
    jobs = ["a", "a", "b", "c", "c"]
    uses = thickness_use(jobs, [100, 150, 100, 100, 100], [1, 1, 2, 1, 1], job_count=50)
    assert not isinstance(uses, TooFew)
    assert [(use.thickness, use.pieces) for use in uses] == [(100, 5), (150, 1)]
    assert uses[0].per_hundred_jobs.estimate == pytest.approx(10)
    # Garwood limits of one event, 0.0253 and 5.5716 (any table of Poisson limits), over 50 jobs.
    assert uses[1].per_hundred_jobs.lower == pytest.approx(2 * 0.0253, abs=1e-4)
    assert uses[1].per_hundred_jobs.upper == pytest.approx(2 * 5.5716, abs=1e-4)


def test_use_intervals_cover_though_a_job_takes_several() -> None:
    random = np.random.default_rng(4730)
    hits = 0
    for _ in range(300):
        counts = np.where(random.random(60) < 0.4, random.integers(1, 5, 60), 0)
        rows = [(f"job {i}", 100, int(count)) for i, count in enumerate(counts) if count]
        jobs, thicknesses, pieces = (list(column) for column in zip(*rows, strict=True))
        uses = thickness_use(jobs, thicknesses, pieces, 60)
        assert not isinstance(uses, TooFew)
        hits += uses[0].per_hundred_jobs.lower <= 100 <= uses[0].per_hundred_jobs.upper
    assert 0.92 <= hits / 300 <= 0.99


def test_too_few_and_refusals() -> None:
    assert thickness_use(["a"], [100], [1], 3) == TooFew("jobs", 3, 10)
    with pytest.raises(ValueError, match="at most 1 jobs"):
        thickness_use(["a", "b"], [100, 100], [1, 1], 1)
    with pytest.raises(ValueError, match="aim"):
        smallest_assortment([1], [1], 0, 0)
    with pytest.raises(ValueError, match="at least one needed pack"):
        smallest_assortment([], [1], 0, 0.5)
    with pytest.raises(ValueError, match="above zero"):
        assortment_share([1], [0], 0)
