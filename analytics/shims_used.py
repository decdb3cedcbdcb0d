"""Count the shim pieces that jobs took off the shelf."""

from __future__ import annotations

import datetime as dt

import polars as pl

from analytics.history import History
from analytics.scope_sql import conditions
from analytics.set_visits import FILTERS

# One row per job, location and thickness: pieces built in beyond those of the same thickness that came out.
_TAKEN = """
with job_in_scope as (select job, unit, family, opened from known_job where {where}),
piece as (
  select s.job, s.location, s.thickness_um, s.stage, sum(coalesce(s.pieces, 1)) as pieces
  from known_shim as s join job_in_scope using (job) where s.stage in ('as_found', 'as_built') and {used} group by all
),
built as (select job, location, thickness_um, pieces from piece where stage = 'as_built'),
found as (select job, location, thickness_um, pieces from piece where stage = 'as_found'),
recorded as (select distinct job, location from piece where stage = 'as_found')
select j.family, b.job, b.location, b.thickness_um, j.opened,
  greatest(b.pieces - coalesce(f.pieces, 0), 0)::bigint as taken, r.job is not null as found_known
from built as b
join job_in_scope as j using (job)
left join found as f using (job, location, thickness_um)
left join recorded as r on r.job = b.job and r.location = b.location
order by all
"""


def shims_taken(history: History, after: dt.date | None = None) -> pl.DataFrame:
    """Return the pieces of each thickness that jobs took beyond those that came out of the unit.

    Columns: family, job, location, thickness_um, opened, taken (pieces, also nought), found_known (whether the pack
    as found is on record; where it is not, what was taken cannot be told).
    """
    where, values = conditions(history.scope, FILTERS, "opened")
    used = "true"
    if after is not None:
        where, used, values = f"{where} and opened > $after", "s.known_on > $after", {**values, "after": after}
    return history.query(_TAKEN.format(where=where, used=used), values)
