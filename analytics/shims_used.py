"""Count the shim pieces that jobs took off the shelf."""

from __future__ import annotations

import datetime as dt

import polars as pl

from analytics.history import History
from analytics.scope_sql import conditions
from analytics.set_visits import FILTERS

# One row per job, location and thickness: pieces built in beyond those of the same thickness that came out.
_TAKEN = """
with job_in_scope as (select job_id, job, family, opened from known_job where {where}),
piece as (
  select s.job_id, s.location, s.thickness_um, sum(coalesce(s.pieces, 1)) filter (s.stage = 'as_built') as built,
    sum(coalesce(s.pieces, 1)) filter (s.stage = 'as_found') as found
  from known_shim as s join job_in_scope using (job_id) where s.stage in ('as_found', 'as_built') and {used}
  group by all
),
recorded as (select distinct job_id, location from piece where found is not null)
select j.family, j.job, p.location, p.thickness_um, j.opened,
  greatest(p.built - coalesce(p.found, 0), 0)::bigint as taken, r.job_id is not null as found_known
from piece as p
join job_in_scope as j using (job_id)
left join recorded as r on r.job_id = p.job_id and r.location = p.location
where p.built is not null
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
