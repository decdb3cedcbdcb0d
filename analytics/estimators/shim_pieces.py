"""Real pieces for a wanted shim pack: exact search in whole micrometres."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import gcd

Reach = list[list[int]]
"""Totals reachable from the thicknesses at and after each place: `reach[place][pieces]` is a bit set."""


@dataclass(frozen=True)
class ShimPiece:
    """Hold a thickness on the shelf in whole micrometres and how many of it lie there."""

    thickness: int
    stock: int


@dataclass(frozen=True)
class ShimStack:
    """Hold the pieces of a pack, thinnest first as (thickness um, number), with its total in um."""

    pieces: tuple[tuple[int, int], ...]
    total: int

    @property
    def count(self) -> int:
        """Count the pieces of the stack."""
        return sum(number for _, number in self.pieces)


@dataclass(frozen=True)
class NoShimStack:
    """Say why no stack lies within limits, what comes nearest, and what one more piece would do.

    `nearest` is the allowed stack closest to the wanted total outside the limits, None where the rules
    allow no stack at all. `restock` are listed thicknesses (um) of which one more piece would do, nearest
    result first. `missing` is the thickness range (um) of one piece that, alone or beside the nearest
    thinner stack, would do; None where no single piece could.
    """

    reason: str
    nearest: ShimStack | None
    restock: tuple[int, ...]
    missing: tuple[int, int] | None


def choose_shim_pieces(
    shelf: Sequence[ShimPiece],
    lower: int,
    upper: int,
    wanted: int,
    maximum_pieces: int = 12,
    minimum_pieces: int = 1,
) -> ShimStack | NoShimStack:
    """Choose the fewest pieces whose total lies within [lower, upper] micrometres.

    Among stacks of equally few pieces: total nearest to `wanted`, then the thinner total, then as many as
    possible of the thinnest piece, of the next thinnest, and so on, so that the answer is unique. One-piece
    locations take `maximum_pieces=1`. Every piece on the shelf is used at most as often as it is in stock.
    Raises ValueError for thicknesses not above zero, thicknesses listed twice, negative stock, limits or
    piece counts in the wrong order, or a wanted total outside the limits.
    Method: reachable totals by number of pieces as bit sets over the common step of the thicknesses
    (bounded knapsack), then the pieces read back; exact.
    """
    ordered = _checked(shelf, lower, upper, wanted, maximum_pieces, minimum_pieces)
    step = gcd(*(piece.thickness for piece in ordered)) if ordered else 1
    thickest = ordered[-1].thickness if ordered else 0
    ceiling = max(upper + thickest, minimum_pieces * thickest) // step
    reach = _reachable(ordered, step, ceiling, maximum_pieces)
    for count in range(minimum_pieces, maximum_pieces + 1):
        totals = _totals(reach[0][count], step, lower, upper)
        best = min(totals, key=lambda total: (abs(total - wanted), total), default=None)
        if best is not None:
            return _read_back(ordered, reach, step, count, best)
    return _explain(ordered, reach, step, (lower, upper, wanted), (minimum_pieces, maximum_pieces))


def _checked(
    shelf: Sequence[ShimPiece], lower: int, upper: int, wanted: int, maximum: int, minimum: int
) -> list[ShimPiece]:
    for piece in shelf:
        if piece.thickness <= 0 or piece.stock < 0:
            raise ValueError(f"expected a thickness above zero and a stock of zero or more, found {piece}")
    if len({piece.thickness for piece in shelf}) != len(shelf):
        raise ValueError("expected each thickness once on the shelf, found one twice")
    if not lower <= wanted <= upper:
        raise ValueError(f"expected the wanted total within its limits, found {wanted} um for {lower} to {upper}")
    if not 0 <= minimum <= maximum:
        raise ValueError(f"expected piece counts in order, found at least {minimum} and at most {maximum}")
    return sorted(shelf, key=lambda piece: piece.thickness)


def _reachable(shelf: list[ShimPiece], step: int, ceiling: int, maximum: int) -> Reach:
    mask = (1 << (ceiling + 1)) - 1
    reach: Reach = [[1] + [0] * maximum]
    for piece in reversed(shelf):
        later = reach[0]
        shift = piece.thickness // step
        here = []
        for count in range(maximum + 1):
            totals = 0
            for number in range(min(piece.stock, count) + 1):
                totals |= later[count - number] << (number * shift)
            here.append(totals & mask)
        reach.insert(0, here)
    return reach


def _totals(bits: int, step: int, lower: int, upper: int) -> Iterator[int]:
    first = max(0, -(-lower // step))
    last = upper // step
    if last < first:
        return
    window = (bits >> first) & ((1 << (last - first + 1)) - 1)
    while window:
        lowest = window & -window
        yield (first + lowest.bit_length() - 1) * step
        window ^= lowest


def _read_back(shelf: list[ShimPiece], reach: Reach, step: int, count: int, total: int) -> ShimStack:
    pieces = []
    left, remaining = count, total // step
    for place, piece in enumerate(shelf):
        shift = piece.thickness // step
        number = next(
            number
            for number in range(min(piece.stock, left), -1, -1)
            if remaining >= number * shift and reach[place + 1][left - number] >> (remaining - number * shift) & 1
        )
        if number:
            pieces.append((piece.thickness, number))
        left -= number
        remaining -= number * shift
    return ShimStack(tuple(pieces), total)


def _explain(
    shelf: list[ShimPiece], reach: Reach, step: int, limits: tuple[int, int, int], counts: tuple[int, int]
) -> NoShimStack:
    lower, upper, wanted = limits
    minimum, maximum = counts
    nearest = _nearest(shelf, reach, step, limits, counts)
    restock = sorted(
        (abs(rest + piece.thickness - wanted), piece.thickness)
        for piece in shelf
        for count in range(max(minimum, 1), maximum + 1)
        for rest in _totals(reach[0][count - 1], step, lower - piece.thickness, upper - piece.thickness)
    )
    thicknesses = tuple(dict.fromkeys(thickness for _, thickness in restock))
    return NoShimStack(
        _sentence(lower, upper, counts, nearest), nearest, thicknesses, _missing(reach, step, limits, counts)
    )


def _nearest(
    shelf: list[ShimPiece], reach: Reach, step: int, limits: tuple[int, int, int], counts: tuple[int, int]
) -> ShimStack | None:
    lower, upper, wanted = limits
    candidates = []
    for count in range(counts[0], counts[1] + 1):
        bits = reach[0][count]
        below = bits & ((1 << max(0, -(-lower // step))) - 1)
        above = bits >> (max(0, upper // step + 1))
        if below:
            total = (below.bit_length() - 1) * step
            candidates.append((abs(total - wanted), count, total))
        if above:
            total = ((above & -above).bit_length() - 1 + max(0, upper // step + 1)) * step
            candidates.append((abs(total - wanted), count, total))
    if not candidates:
        return None
    _, count, total = min(candidates)
    return _read_back(shelf, reach, step, count, total)


def _missing(reach: Reach, step: int, limits: tuple[int, int, int], counts: tuple[int, int]) -> tuple[int, int] | None:
    lower, upper, _ = limits
    minimum, maximum = counts
    best = -1
    for count in range(max(minimum - 1, 0), maximum):
        below = reach[0][count] & ((1 << max(0, -(-lower // step))) - 1)
        best = max(best, (below.bit_length() - 1) * step if below else -1)
    if best < 0:
        return None
    return lower - best, upper - best


def _sentence(lower: int, upper: int, counts: tuple[int, int], nearest: ShimStack | None) -> str:
    allowed = f"{counts[1]} piece" if counts[1] == 1 else f"{counts[1]} pieces"
    asked = f"no stack of at most {allowed} on the shelf comes to {_mm(lower)}-{_mm(upper)} mm"
    if nearest is None:
        return f"{asked}; the shelf has too few pieces for any"
    return f"{asked}; nearest is {_mm(nearest.total)} mm"


def _mm(micrometres: int) -> str:
    return f"{micrometres / 1000:.3f}".rstrip("0").rstrip(".") if micrometres else "0"
