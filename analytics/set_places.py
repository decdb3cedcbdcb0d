"""Name what is set on a bench: single shim locations, and pairs of side packs by their difference and their total."""

from __future__ import annotations

import polars as pl

from analytics.history import History

_PLACES = """
with side as (  -- one row per location that takes part in setting a reading
  select l.*, l.side is not null and l.quantity = 'backlash' as one_of_pair
  from known_shim_location as l
),
pair as (  -- one row per family with two side packs
  select family, quantity,
    max(location) filter (thicker_moves = 'increases') as location,
    max(location) filter (thicker_moves = 'decreases') as other, any_value(sits) as sits,
    max(step_um) as step_um, bool_and(coalesce(stackable, true)) as stackable
  from side where one_of_pair group by all
  having count(*) = 2 and count(distinct thicker_moves) = 2
)
select family, location as place, 'pack' as coordinate, location, null::varchar as other, quantity, sits,
  if(thicker_moves = 'increases', 1, -1)::bigint as sign, step_um, coalesce(stackable, true) as stackable, thinnest_um,
  thickest_um
from side where not one_of_pair or family not in (select family from pair)
union all
select family, location || ' less ' || other, 'shift', location, other, quantity, sits, 1::bigint, step_um, stackable,
  null, null
from pair
union all
select family, location || ' and ' || other, 'total', location, other, 'side_total', sits, 1::bigint, step_um,
  stackable, null, null
from pair
order by 1, 3, 2
"""


def set_places(history: History) -> pl.DataFrame:
    """Return what is set, one row per family and place.

    A place is a shim location (coordinate `pack`) or, for a pair of side packs, half their difference (`shift`: it
    moves the ring gear and with it the backlash) and their sum (`total`: it carries the bearings' preload). Columns:
    family, place, coordinate, location, other, quantity, sits, sign (+1 where thicker raises the reading), step_um,
    stackable, thinnest_um, thickest_um.
    """
    return history.query(_PLACES)


def pair_states(states: pl.DataFrame, places: pl.DataFrame) -> pl.DataFrame:
    """Return bench states by place: side packs turned into half their difference and their sum.

    Columns: those of `states` with `place`, `coordinate`, `sign` and `quantity` added; `pack` in micrometres of the
    place's coordinate. A pair counts only where both packs are on record; the sum carries no reading.
    """
    kept = ["family", "place", "coordinate", "location", "other", "quantity", "sign"]
    joined = states.join(places.select(kept), on=["family", "location"], how="inner", maintain_order="left")
    keys = ["job", "stage", "trial"]
    opposite = states.select(*keys, pl.col("location").alias("other"), pl.col("pack").alias("other_pack"))
    joined = joined.join(opposite, on=[*keys, "other"], how="left", maintain_order="left")
    pack = (
        pl.when(pl.col("coordinate") == "shift")
        .then((pl.col("pack") - pl.col("other_pack")) / 2)
        .when(pl.col("coordinate") == "total")
        .then(pl.col("pack") + pl.col("other_pack"))
        .otherwise(pl.col("pack"))
    )
    bare = pl.col("coordinate") == "total"
    none = [
        pl.when(bare).then(None).otherwise(pl.col(name)).alias(name)
        for name in ("reading", "target", "lower", "upper", "spread")
    ]
    return joined.with_columns(pack, *none).drop("other_pack")
