"""Shim assortment: what hundred jobs consume, and the fewest thicknesses that set the next job unaided."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import gcd

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from analytics.estimators.arrays import BoolArray, FloatArray, IntArray, as_counts, as_numbers, as_positive, tail
from analytics.estimators.interval import Interval, TooFew
from analytics.estimators.proportion import clopper_pearson


@dataclass(frozen=True)
class ThicknessUse:
    """Hold how many pieces of a thickness (um) hundred jobs consume."""

    thickness: int
    pieces: int
    per_hundred_jobs: Interval


@dataclass(frozen=True)
class Assortment:
    """Hold thicknesses (um) to keep, in the order they were added, and the share of jobs they can set.

    `share` is that share after each addition, over the needed packs given; `covered` its last value with
    the exact binomial interval, as if the packs were independent jobs. `exact` is True where no smaller
    assortment can reach the aim, False where greedy search found it and a smaller one may exist.
    `reached` is False where even all candidates together stay below the aim.
    """

    thicknesses: tuple[int, ...]
    share: tuple[float, ...]
    covered: Interval
    aim: float
    reached: bool
    exact: bool


def thickness_use(
    jobs: Sequence[object],
    thicknesses: Sequence[int],
    counts: Sequence[int],
    job_count: int,
    level: float = 0.95,
    minimum: int = 10,
) -> tuple[ThicknessUse, ...] | TooFew:
    """Count the pieces of each thickness that hundred jobs consume.

    One shim line a row: `jobs` (names), `thicknesses` (um), `counts` (pieces); `job_count` also counts jobs
    that took no shim. Interval: exact Poisson limits, widened by the root of the spread of pieces between
    jobs over the Poisson one where that is above 1. Sorted by thickness. Gives TooFew below `minimum`
    jobs. Raises ValueError for unequal lengths, more jobs in the lines than counted, negative counts.
    """
    if not len(jobs) == len(thicknesses) == len(counts):
        raise ValueError(f"expected lines of one length, found {len(jobs)}, {len(thicknesses)} and {len(counts)}")
    names, job = np.unique(np.array([str(job) for job in jobs], dtype=np.str_), return_inverse=True)
    if names.size > job_count:
        raise ValueError(f"expected at most {job_count} jobs in the lines, found {names.size}")
    if job_count < minimum:
        return TooFew("jobs", job_count, minimum)
    pieces = as_counts("counts", counts).astype(np.int64)
    kinds, kind = np.unique(np.array(thicknesses, dtype=np.int64), return_inverse=True)
    pairs, pair = np.unique(kind * names.size + job, return_inverse=True)
    by_job = np.zeros(pairs.size, dtype=np.int64)
    np.add.at(by_job, pair, pieces)
    total, squares = (np.zeros(kinds.size, dtype=np.int64) for _ in range(2))
    np.add.at(total, pairs // names.size, by_job)
    np.add.at(squares, pairs // names.size, by_job**2)
    limits = _per_hundred(total, squares, job_count, level)
    return tuple(
        ThicknessUse(thickness, count, interval)
        for thickness, count, interval in zip(kinds.tolist(), total.tolist(), limits, strict=True)
    )


def _per_hundred(total: IntArray, squares: IntArray, jobs: int, level: float) -> list[Interval]:
    side, mean = tail(level), total / jobs
    spread = (squares - jobs * mean**2) / (jobs - 1)
    some = total > 0
    factor = np.where(some, np.maximum(1.0, np.sqrt(np.maximum(spread, 0.0) / np.where(some, mean, 1.0))), 1.0)
    # Halves of chi-square quantiles at twice the count.
    low = np.where(some, special.gammaincinv(np.maximum(total, 1), side), 0.0)
    high = special.chdtri(2 * (total + 1), side) / 2
    scale, method = 100 / jobs, "Poisson, widened for spread between jobs"
    ends = (total, np.maximum(total - factor * (total - low), 0.0), total + factor * (high - total))
    return [
        Interval(estimate, lower, upper, jobs, jobs, level, method)
        for estimate, lower, upper in zip(*((scale * end).tolist() for end in ends), strict=True)
    ]


def assortment_share(
    needed: ArrayLike,
    thicknesses: Sequence[int],
    tolerance: int,
    copies: int = 2,
    maximum_pieces: int = 4,
    weights: ArrayLike | None = None,
) -> float:
    """Give the share of needed packs (whole um) that pieces of these thicknesses can make.

    A pack can be made where at most `maximum_pieces` pieces, each thickness at most `copies` times, come
    within `tolerance` um of it. `weights` (default equal) are how likely each needed pack is. Exact.
    """
    packs, shares = _packs(needed, weights)
    ordered = _candidates(thicknesses, copies, maximum_pieces, tolerance)
    able = _able(packs, ordered, tolerance, copies, maximum_pieces)
    return float(shares[able].sum())


def smallest_assortment(
    needed: ArrayLike,
    candidates: Sequence[int],
    tolerance: int,
    aim: float,
    copies: int = 2,
    maximum_pieces: int = 4,
    weights: ArrayLike | None = None,
    level: float = 0.95,
    exhaustive_below: int = 2_000,
) -> Assortment:
    """Choose few thicknesses that let at least a share `aim` of the next jobs be set without ordering.

    `needed` are needed packs (whole um): past ones or draws from a prediction; other arguments as in
    `assortment_share`. Greedy: add the thickness that gains most (ties: thinner), or, where none gains, the
    pair that does, or, where no pair does, take away from all of them; then drop any that is not missed.
    Every share is evaluated exactly; that no smaller
    assortment exists is not promised, except where all smaller ones are few enough (below
    `exhaustive_below`) to be tried, which is then done and said. Raises ValueError for an aim outside
    (0, 1], thicknesses not above zero, or no needed packs.
    """
    if not 0 < aim <= 1:
        raise ValueError(f"expected an aim above 0 and at most 1, found {aim}")
    packs, shares = _packs(needed, weights)
    pool = _candidates(candidates, copies, maximum_pieces, tolerance)

    def share(chosen: Sequence[int]) -> float:
        return float(shares[_able(packs, sorted(chosen), tolerance, copies, maximum_pieces)].sum())

    chosen = _greedy(pool, share, aim)
    if share(chosen) < aim - 1e-12 <= share(pool):
        chosen = _thinned(pool, share, aim)  # only three or more together gain: start from all and take away
    reached = bool(share(chosen) >= aim - 1e-12)
    exact = False
    if reached:
        chosen, exact = _try_smaller(pool, chosen, share, aim, exhaustive_below)
    steps = tuple(share(chosen[: place + 1]) for place in range(len(chosen)))
    final = steps[-1] if steps else share([])
    hits = round(final * packs.size)
    limits = clopper_pearson([hits], [packs.size], level)
    covered = Interval(
        final, min(float(limits.lower[0]), final), max(float(limits.upper[0]), final), packs.size, packs.size, level,
        limits.method,
    )  # fmt: skip
    return Assortment(tuple(chosen), steps, covered, aim, reached, exact)


def _thinned(pool: Sequence[int], share: Callable[[Sequence[int]], float], aim: float) -> list[int]:
    """Return the pool without each thickness, thinnest first, that the aim does not miss."""
    chosen = list(pool)
    for thickness in pool:
        left = [kept for kept in chosen if kept != thickness]
        if share(left) >= aim - 1e-12:
            chosen = left
    return chosen


def _packs(needed: ArrayLike, weights: ArrayLike | None) -> tuple[IntArray, FloatArray]:
    packs = np.rint(as_numbers("needed", needed)).astype(np.int64)
    if packs.size == 0:
        raise ValueError("expected at least one needed pack, found none")
    likely = np.ones(packs.size) if weights is None else as_positive("weights", weights)
    order = np.lexsort((likely, packs))
    return packs[order], likely[order] / np.sort(likely).sum()


def _candidates(thicknesses: Sequence[int], copies: int, maximum_pieces: int, tolerance: int) -> list[int]:
    pool = sorted(set(thicknesses))
    if pool and pool[0] <= 0:
        raise ValueError(f"expected thicknesses above zero, found {pool[0]}")
    if copies < 1 or maximum_pieces < 1 or tolerance < 0:
        raise ValueError("expected at least one copy and one piece and a tolerance of zero or more")
    return pool


def _able(packs: IntArray, chosen: Sequence[int], tolerance: int, copies: int, maximum_pieces: int) -> BoolArray:
    """Say of each pack whether some allowed stack comes within tolerance: totals as bit sets by pieces."""
    step = gcd(*chosen) if chosen else 1
    ceiling = max(int(packs[-1]) + tolerance, 0) // step
    mask = (1 << (ceiling + 1)) - 1
    reach = [1] + [0] * maximum_pieces
    for thickness in chosen:
        shift = thickness // step
        reach = [
            mask & _either(reach[count - number] << (number * shift) for number in range(min(copies, count) + 1))
            for count in range(maximum_pieces + 1)
        ]
    bits = _either(reach)
    raw = np.frombuffer(bits.to_bytes(ceiling // 8 + 1, "little"), dtype=np.uint8)
    totals = np.flatnonzero(np.unpackbits(raw, bitorder="little")).astype(np.int64) * step
    place = np.searchsorted(totals, packs - tolerance)
    found = totals[np.minimum(place, totals.size - 1)]
    return (place < totals.size) & (found <= packs + tolerance)


def _either(sets: Iterable[int]) -> int:
    union = 0
    for bits in sets:
        union |= bits
    return union


def _greedy(pool: list[int], share: Callable[[Sequence[int]], float], aim: float) -> list[int]:
    chosen: list[int] = []
    current = share(chosen)
    while current < aim - 1e-12:
        rest = [thickness for thickness in pool if thickness not in chosen]
        options = [[thickness] for thickness in rest]
        best = max(options, key=lambda extra: share(chosen + extra), default=None)
        if best is None or share(chosen + best) <= current + 1e-12:
            options = [list(pair) for pair in combinations(rest, 2)]
            best = max(options, key=lambda extra: share(chosen + extra), default=None)
            if best is None or share(chosen + best) <= current + 1e-12:
                break
        chosen += best
        current = share(chosen)
    for thickness in sorted(chosen):
        without = [other for other in chosen if other != thickness]
        if share(without) >= min(aim, current) - 1e-12:
            chosen = without
    return chosen


def _try_smaller(
    pool: list[int], chosen: list[int], share: Callable[[Sequence[int]], float], aim: float, budget: int
) -> tuple[list[int], bool]:
    """Try every smaller assortment while the trials stay within budget; say whether all were tried."""
    tried = 0
    for size in range(len(chosen)):
        for smaller in combinations(pool, size):
            tried += 1
            if tried > budget:
                return chosen, False
            if share(smaller) >= aim - 1e-12:
                return list(smaller), True
    return chosen, True
