"""Look what shim pieces lie on the shelf, and which packs pieces can make."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import polars as pl

from analytics.estimators.shim_pieces import NoShimStack, ShimPiece, ShimStack, choose_shim_pieces
from analytics.history import History

MOST_PIECES = 6
UNLIMITED = 99

_SHELF = """
with counted as (  -- one row per part: the last count
  select part, arg_max(on_hand_milli, counted_on) // 1000 as on_hand, max(counted_on) as counted_on
  from known_stock group by part
),
listed as (
  select p.family, p.location, p.thickness_um, min(p.part) as part, sum(c.on_hand)::bigint as on_hand,
    max(c.counted_on) as counted_on
  from known_part as p left join counted as c using (part)
  where p.location is not null and p.thickness_um is not null group by all
),
unlisted as (select family, location from known_shim_location anti join listed using (family, location)),
seen as (  -- thicknesses that were ever built in, for a location whose parts are not listed
  select distinct j.family, s.location, s.thickness_um
  from known_shim as s join known_job as j using (job_id)
  semi join unlisted as u on u.family = j.family and u.location = s.location
)
select family, location, thickness_um, part, on_hand, counted_on from listed
union all
select family, location, thickness_um, null, null, null from seen
order by 1, 2, 3
"""


@dataclass(frozen=True)
class Shelf:
    """Hold what pieces a location takes (um), how many of each lie on the shelf, and when they were counted.

    `on_hand` is None for a thickness that was never counted.
    """

    pieces: tuple[tuple[int, int | None], ...]
    counted_on: object

    @property
    def sizes(self) -> tuple[int, ...]:
        """Return the thicknesses."""
        return tuple(size for size, _ in self.pieces)


def shelf_pieces(history: History) -> pl.DataFrame:
    """Return every piece: family, location, thickness_um, part, on_hand (null: never counted), counted_on."""
    return history.query(_SHELF)


def shelf_of(pieces: pl.DataFrame, family: str, location: str) -> Shelf:
    """Return what lies on the shelf for one location."""
    rows = pieces.filter((pl.col("family") == family) & (pl.col("location") == location)).sort("thickness_um")
    counted = rows["counted_on"].drop_nulls()
    return Shelf(tuple(rows.select("thickness_um", "on_hand").iter_rows()), counted.max() if counted.len() else None)


@lru_cache(maxsize=256)
def reachable_packs(sizes: tuple[int, ...], stackable: bool, thinnest: int, thickest: int) -> tuple[int, ...]:
    """Return every total (um) between the limits that pieces of these sizes make, as many of each as needed."""
    if not stackable:
        return tuple(sorted(size for size in sizes if thinnest <= size <= thickest))
    mask, reach = (1 << (thickest + 1)) - 1, [1]
    for _ in range(MOST_PIECES):
        following = 0
        for size in sizes:
            following |= reach[-1] << size
        reach.append(following & mask)
    every = 0
    for bits in reach[1:]:
        every |= bits
    return tuple(total for total in range(max(thinnest, 1), thickest + 1) if every >> total & 1)


def nearest_reachable(wanted: float, totals: tuple[int, ...]) -> int | None:
    """Return the total nearest to `wanted` (um), the thinner of two; None where there is none."""
    return min(totals, key=lambda total: (abs(total - wanted), total), default=None)


def stack_from_shelf(
    shelf: Shelf, wanted: float, low: float | None, high: float | None, stackable: bool, room: int
) -> ShimStack | NoShimStack:
    """Choose pieces on hand for a pack: within `room` um of the wanted total if they allow it, else within the limits.

    `low` and `high` (um) are what the limits leave for the pack, None where they leave it open. A thickness that was
    never counted is taken as there. Fewest pieces; a location that does not stack takes one.
    """
    middle = round(wanted)
    pieces = [ShimPiece(size, UNLIMITED if count is None else count) for size, count in shelf.pieces]
    most = MOST_PIECES if stackable else 1
    near = (max(middle - room, 1), middle + room)
    inner = (
        near[0] if low is None else max(near[0], round(low)),
        near[1] if high is None else min(near[1], round(high)),
    )
    outer = (near[0] if low is None else round(low), near[1] if high is None else round(high))
    found: ShimStack | NoShimStack = NoShimStack("the limits leave no room for a pack", None, (), None)
    for lower, upper in (inner, outer):
        if 0 < lower <= upper:
            found = choose_shim_pieces(pieces, lower, upper, min(max(middle, lower), upper), most)
            if isinstance(found, ShimStack):
                return found
    return found


def stack_in_words(stack: ShimStack) -> str:
    """Return a pack as a technician would write it down."""
    return " + ".join(
        f"{count} x {size / 1000:.3f}" if count > 1 else f"{size / 1000:.3f}" for size, count in stack.pieces
    )
