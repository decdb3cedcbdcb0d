"""Shim pieces: exact against exhaustive search, quick, plain when none can."""

import itertools
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.estimators.shim_pieces import NoShimStack, ShimPiece, ShimStack, choose_shim_pieces

shelves = st.dictionaries(st.integers(1, 60), st.integers(0, 3), max_size=5)


def every_stack(shelf: dict[int, int], low: int, high: int) -> list[tuple[int, int, tuple[int, ...]]]:
    """List (pieces, total, numbers by thickness) of every stack the shelf allows: the exhaustive oracle."""
    thicknesses = sorted(shelf)
    stacks = []
    for numbers in itertools.product(*(range(shelf[t] + 1) for t in thicknesses)):
        total = sum(n * t for n, t in zip(numbers, thicknesses, strict=True))
        if low <= sum(numbers) <= high:
            stacks.append((sum(numbers), total, numbers))
    return stacks


@settings(max_examples=400, deadline=None)
@given(shelves, st.integers(0, 150), st.integers(0, 6), st.integers(0, 6), st.integers(0, 3), st.integers(0, 5))
def test_agrees_with_exhaustive_search(
    shelf: dict[int, int], wanted: int, under: int, over: int, minimum: int, extra: int
) -> None:
    lower, upper, maximum = wanted - under, wanted + over, minimum + extra
    answer = choose_shim_pieces([ShimPiece(t, n) for t, n in shelf.items()], lower, upper, wanted, maximum, minimum)
    stacks = every_stack(shelf, minimum, maximum)
    within = [stack for stack in stacks if lower <= stack[1] <= upper]
    if within:
        best = min(within, key=lambda s: (s[0], abs(s[1] - wanted), s[1], tuple(-n for n in s[2])))
        pieces = tuple((t, n) for t, n in zip(sorted(shelf), best[2], strict=True) if n)
        assert answer == ShimStack(pieces, best[1])
        return
    assert isinstance(answer, NoShimStack)
    if not stacks:
        assert answer.nearest is None
    else:
        assert answer.nearest is not None
        assert abs(answer.nearest.total - wanted) == min(abs(s[1] - wanted) for s in stacks)


@settings(max_examples=200, deadline=None)
@given(shelves, st.integers(1, 120), st.integers(0, 3))
def test_what_is_said_to_be_missing_would_do(shelf: dict[int, int], wanted: int, slack: int) -> None:
    lower, upper = wanted - slack, wanted + slack
    pieces = [ShimPiece(t, n) for t, n in shelf.items()]
    answer = choose_shim_pieces(pieces, lower, upper, wanted, 4)
    if isinstance(answer, ShimStack):
        return
    would_do = [
        t
        for t in shelf
        if isinstance(
            choose_shim_pieces([ShimPiece(u, n + (u == t)) for u, n in shelf.items()], lower, upper, wanted, 4),
            ShimStack,
        )
    ]
    assert sorted(answer.restock) == sorted(would_do)
    if answer.missing is not None:
        thickness = answer.missing[1]
        mended = {**shelf, thickness: shelf.get(thickness, 0) + 1}
        again = choose_shim_pieces([ShimPiece(t, n) for t, n in mended.items()], lower, upper, wanted, 4)
        assert isinstance(again, ShimStack)


def test_forty_thicknesses_with_stock_take_under_50_ms() -> None:
    shelf = [ShimPiece(100 + 13 * i, 1 + i % 6) for i in range(40)]
    best = min(_seconds(shelf) for _ in range(5))
    assert best < 0.050


def _seconds(shelf: list[ShimPiece]) -> float:
    start = time.perf_counter()
    choose_shim_pieces(shelf, 2996, 3004, 3001, 12)
    return time.perf_counter() - start


def test_one_piece_location() -> None:
    shelf = [ShimPiece(1500, 1), ShimPiece(1550, 2), ShimPiece(1600, 0)]
    assert choose_shim_pieces(shelf, 1540, 1570, 1555, maximum_pieces=1) == ShimStack(((1550, 1),), 1550)
    answer = choose_shim_pieces(shelf, 1580, 1620, 1600, maximum_pieces=1)
    assert isinstance(answer, NoShimStack)
    assert answer.restock == (1600,)
    assert answer.missing == (1580, 1620)
    assert answer.reason == "no stack of at most 1 piece on the shelf comes to 1.58-1.62 mm; nearest is 1.55 mm"


def test_an_empty_shelf_is_said() -> None:
    answer = choose_shim_pieces([], 200, 300, 250)
    assert isinstance(answer, NoShimStack)
    assert answer.nearest is None
    assert "too few pieces" in answer.reason


@pytest.mark.parametrize(
    ("pieces", "limits", "counts", "words"),
    [
        ([ShimPiece(0, 1)], (1, 3, 2), (1, 2), "above zero"),
        ([ShimPiece(5, 1), ShimPiece(5, 2)], (1, 3, 2), (1, 2), "twice"),
        ([ShimPiece(5, 1)], (1, 3, 4), (1, 2), "within its limits"),
        ([ShimPiece(5, 1)], (1, 3, 2), (3, 2), "in order"),
    ],
)
def test_refusals(pieces: list[ShimPiece], limits: tuple[int, int, int], counts: tuple[int, int], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        choose_shim_pieces(pieces, *limits, maximum_pieces=counts[1], minimum_pieces=counts[0])
