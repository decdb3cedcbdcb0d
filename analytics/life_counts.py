"""Count lives in bins of age in SQL, where there are too many to take one by one."""

from __future__ import annotations

import polars as pl

from analytics.component_lives import CAME_IN, FILTERS, LIFE, Lives, left_out_looks
from analytics.history import History
from analytics.scope_sql import conditions

MANY = 300_000  # looks above which lives are counted in bins
BIN = 0.005  # neighbouring edges lie half a per cent apart
_COLUMNS = {"position": "l.position_id", "component": "l.position_id", "family": "l.position_id"}


def counted_lives(history: History, by: str, begun: str) -> Lives | None:
    """Return the lives that came in as counts per bin of age, or None where there are few enough to take singly.

    Rows as component_lives.Lives with `count`, without unit and job; ages at the middle of their bin, half a per cent
    wide, on the log scale. Bins are made for `by` position, component and family; other groupings take lives singly.
    """
    if by not in _COLUMNS or history.scope.supplier is not None:
        return None
    looks = history.query("select count(*) as n from known_life_inspection where superseded_on is null")["n"][0]
    if looks < MANY:
        return None
    where, values = conditions(history.scope, FILTERS)
    visits = "join known_visit as v using (job_id)" if {"fleet", "duty"} & set(history.scope.filters()) else ""
    origin = {"from_new": "origin = 'from_new'", "fitted_here": "origin <> 'from_new'"}.get(begun, "true")
    rows = history.query(
        f"""
        with {LIFE},
        bin as (  -- one row per position, kind and bins of both ends
          select l.position_id, l.kind, if(lower_m > 0, floor(ln(lower_m) / $width)::integer, null) as low,
            if(upper_m > 0, floor(ln(upper_m) / $width)::integer, null) as high, count(*) as n
          from life as l {visits} {"join known_position as c using (position_id)" if where != "true" else ""}
          where {where} and {origin} and (lower_m > 0 or upper_m > 0)
          group by all
        )
        select c.family, c.position, c.component, b.kind,
          coalesce(exp((b.low + 0.5) * $width) / 1000, 0.0) as lower, exp((b.high + 0.5) * $width) / 1000 as upper,
          b.n::double as count
        from bin as b join known_position as c using (position_id)
        order by b.position_id, b.kind, b.low, b.high
        """,
        {**values, "width": float(pl.Series([1 + BIN]).log()[0])},
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
