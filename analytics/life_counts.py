"""Count lives in bins of age in SQL, where there are too many to take one by one."""

from __future__ import annotations

import math

import polars as pl

from analytics.component_lives import CAME_IN, FILTERS, Lives, left_out_looks
from analytics.history import History
from analytics.life_clock import KM, LifeClock
from analytics.scope_sql import conditions

MANY = 300_000  # looks above which lives are counted in bins
WIDE = 0.1  # of the bins of lives that ended between two distances, whose likelihood changes slowly with either
_KINDS = "['right', 'right', 'exact', 'interval', 'interval', 'left']"  # by life_kind of the mart
_COLUMNS = {"position": "l.position_id", "component": "l.position_id", "family": "l.position_id"}


def counted_lives(history: History, by: str, begun: str, clock: LifeClock = KM) -> Lives | None:
    """Return the lives that came in as counts per bin of age, or None where there are few enough to take singly.

    Rows: family, position, component, kind, lower, upper, entry and population as in component_lives.Lives, and count.
    Bins are those of the mart (life_bin): geometric, half a per cent wide, or WIDE in both ends for lives that ended between
    two distances; each stands at the mean of its ages, so that what is lost is of second order in the width. Bins are
    counted for `by` position, component and family; other groupings take lives singly.
    """
    if by not in _COLUMNS or history.scope.supplier is not None:
        return None
    if history.query(f"select count(*) as n from {clock.mart}").item() < MANY:
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
        with bin as (  -- one row per position, kind of life and bins of its ends; whole metres, so that sums are exact
          select l.position_id, l.life_bin, sum(l.age) as ages, sum(l.good_age) as good_ages,
            sum(l.since_age) as since_ages, count(*)::double as n
          from {clock.mart} as l {joins}
          where l.why_not is null and l.superseded_on is null and {where} and {origin}
          group by l.position_id, l.life_bin
        ),
        told as (
          select position_id, life_bin, n, life_bin // {8192 * 8192} as life_kind,
            {_KINDS}[1 + life_kind] as kind, if(life_kind in (3, 4), $lift, 1)::double * n * {clock.per_unit} as times,
            case life_kind when 0 then ages when 1 then good_ages when 2 then since_ages when 3 then good_ages
              when 4 then since_ages else 0 end / times as lower,
            case when life_kind in (3, 4, 5) then ages when life_kind = 2 then since_ages end / times as upper
          from bin
        )
        select c.family, c.position, c.component, b.kind, b.lower, b.upper, b.n as count
        from told as b join known_position as c using (position_id)
        where b.lower > 0 or b.upper > 0
        order by b.position_id, b.life_bin
        """,
        {**values, "lift": math.sinh(wide / 2) / (wide / 2)},
    )
    rows = rows.with_columns(pl.lit(0.0).alias("entry"), pl.lit(CAME_IN).alias("population"))
    return Lives(CAME_IN, rows, left_out_looks(history, {}, where, values, clock))
