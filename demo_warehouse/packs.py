"""Find the shim pieces that make a wanted thickness."""

from __future__ import annotations

from functools import lru_cache

from demo_warehouse.catalogue import Location


@lru_cache(maxsize=256)
def reachable_packs(
    sizes: tuple[int, ...], thinnest: int, thickest: int, stackable: bool
) -> dict[int, tuple[int, ...]]:
    """Return every total between the limits that the sizes can make, with the fewest pieces that make it."""
    if not stackable:
        return {size: (size,) for size in sizes if thinnest <= size <= thickest}
    fewest: dict[int, tuple[int, ...]] = {0: ()}
    for total in range(1, thickest + 1):
        options = [fewest[total - s] for s in sizes if total - s in fewest and len(fewest[total - s]) < 6]
        if options:
            best = min(options, key=lambda pieces: (len(pieces), pieces))
            fewest[total] = tuple(sorted((*best, total - sum(best))))
    return {total: pieces for total, pieces in fewest.items() if total >= thinnest}


def nearest_pack(location: Location, wanted: float) -> tuple[int, ...]:
    """Return the pieces whose total lies nearest to `wanted` micrometres; raises ValueError where none fit."""
    if location.thinnest is None or location.thickest is None:
        raise ValueError(f"no thickness is chosen at {location.name}")
    packs = reachable_packs(location.piece_sizes(), location.thinnest, location.thickest, bool(location.stackable))
    return packs[_nearest(tuple(packs), round(wanted))]


@lru_cache(maxsize=100_000)
def _nearest(totals: tuple[int, ...], wanted: int) -> int:
    return min(totals, key=lambda total: (abs(total - wanted), total))
