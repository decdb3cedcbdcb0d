"""Count lives in bins of age in SQL, where there are too many to take one by one."""

from __future__ import annotations

import math

import polars as pl

from analytics.component_lives import CAME_IN, FILTERS, LIFE, Lives, left_out_looks
from analytics.history import History
from analytics.scope_sql import conditions

MANY = 300_000  # looks above which lives are counted in bins
BIN = 0.005  # neighbouring edges lie half a per cent apart
WIDE = 0.1  # for lives that ended between two distances, whose likelihood changes slowly with either
_COLUMNS = {"position": "l.position_id", "component": "l.position_id", "family": "l.position_id"}


def counted_lives(history: History, by: str, begun: str) -> Lives | None:
    """Return the lives that came in as counts per bin of age, or None where there are few enough to take singly.

    Rows as component_lives.Lives with `count`, without unit and job. Bins are geometric, BIN wide, or WIDE in both ends
    for lives that ended between two distances; each stands at the mean of its ages, so that what is lost is of second
    order in the width. Bins are made for `by` position, component and family; other groupings take lives singly.
    """
    if by not in _COLUMNS or history.scope.supplier is not None:
        return None
    looks = history.query("select count(*) as n from known_life_inspection where superseded_on is null")["n"][0]
    if looks < MANY:
        return None
    where, values = conditions(history.scope, FILTERS)
    joins = (
        "" if where == "true" else "join known_visit as v using (job_id) join known_position as c using (position_id)"
    )
    origin = {"from_new": "origin = 'from_new'", "fitted_here": "origin <> 'from_new'"}.get(begun, "true")
    wide = math.log1p(WIDE)
    # The mean of ages spread evenly over a bin on the log scale lies above the mean of their logarithms by `lift`.
    rows = history.query(
        f"""
        with {LIFE},
        bin as (  -- one row per position, kind and bins of both ends; whole metres, so that sums are exact
          select l.position_id, l.kind,
            floor(ln(nullif(lower_m, 0)) / if(kind = 'interval', $wide, $narrow))::smallint as low,
            floor(ln(nullif(upper_m, 0)) / if(kind = 'interval', $wide, $narrow))::smallint as high,
            sum(lower_m)::bigint as lower_sum, sum(upper_m)::bigint as upper_sum, count(*) as n
          from life as l {joins} where {where} and {origin} and (lower_m > 0 or upper_m > 0)
          group by l.position_id, l.kind, low, high
        )
        select c.family, c.position, c.component, b.kind,
          b.lower_sum / b.n / 1000.0 / if(b.kind = 'interval', $lift, 1) as lower,
          b.upper_sum / b.n / 1000.0 / if(b.kind = 'interval', $lift, 1) as upper, b.n::double as count
        from bin as b join known_position as c using (position_id)
        order by b.position_id, b.kind, b.low, b.high
        """,
        {**values, "narrow": math.log1p(BIN), "wide": wide, "lift": math.sinh(wide / 2) / (wide / 2)},
    )
    empty: dict[str, pl.DataType | type[pl.DataType]] = {
        "unit_id": pl.Int32, "job_id": pl.Int32, "started_by": pl.Int32, "origin": pl.String, "duty": pl.String,
        "fleet": pl.String, "supplier": pl.String, "maker": pl.String, "draws": pl.List(pl.Float64),
        "end_error": pl.Float64, "estimated": pl.Boolean, "named_failed": pl.Boolean,
    }  # fmt: skip
    rows = rows.with_columns(
        pl.lit(0.0).alias("entry"),
        pl.lit(CAME_IN).alias("population"),
        *(pl.lit(None, dtype=kind).alias(name) for name, kind in empty.items()),
    )
    return Lives(CAME_IN, rows, left_out_looks(history, {}, where, values))
