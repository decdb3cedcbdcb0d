"""Packs that pieces can make, and pieces from the shelf."""

from itertools import combinations_with_replacement

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.estimators.shim_pieces import NoShimStack, ShimStack
from analytics.shelf import MOST_PIECES, Shelf, nearest_reachable, reachable_packs, stack_from_shelf, stack_in_words

SHELF = Shelf(((100, 2), (150, 1), (200, 0), (500, None)), None)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.integers(20, 90), min_size=1, max_size=4, unique=True))
def test_reachable_packs_are_those_of_an_exhaustive_search(sizes: list[int]) -> None:
    every = {sum(pack) for count in range(1, MOST_PIECES + 1) for pack in combinations_with_replacement(sizes, count)}
    assert reachable_packs(tuple(sizes), True, 30, 400) == tuple(sorted(t for t in every if 30 <= t <= 400))


def test_a_location_that_takes_one_piece_reaches_its_sizes_only() -> None:
    assert reachable_packs((1800, 1850, 2800), False, 1800, 2700) == (1800, 1850)
    assert nearest_reachable(1826.0, (1800, 1850)) == 1850
    assert nearest_reachable(1.0, ()) is None


@pytest.mark.parametrize(("wanted", "words"), [(250, "0.100 + 0.150"), (205, "2 x 0.100"), (512, "0.500")])
def test_fewest_pieces_near_the_wanted_pack(wanted: float, words: str) -> None:
    stack = stack_from_shelf(SHELF, wanted, None, None, True, 25)
    assert isinstance(stack, ShimStack)
    assert stack_in_words(stack) == words


def test_the_limits_are_used_where_nothing_lies_nearer() -> None:
    near = stack_from_shelf(SHELF, 430, None, None, True, 10)
    assert isinstance(near, NoShimStack)
    stack = stack_from_shelf(SHELF, 430, 340, 520, True, 10)
    assert isinstance(stack, ShimStack)
    assert stack.total == 500


def test_one_piece_only_and_none_on_hand() -> None:
    assert isinstance(stack_from_shelf(SHELF, 250, 240, 260, False, 25), NoShimStack)
    assert isinstance(stack_from_shelf(SHELF, 200, 195, 205, False, 5), NoShimStack)
