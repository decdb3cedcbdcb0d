"""Read what stood on the bench: the pack and the reading of each location as found, at each trial and as built."""

from __future__ import annotations

import datetime as dt

import polars as pl

from analytics.history import History

# One row per job, location, stage and trial that has a pack or a reading of the quantity the location sets.
# A reading is the mean over the points round the ring. As built, only the lead technician's own readings count, so
# that readings repeated by another (gauge studies) do not mix in. Breakaway torques, and readings with the seals in
# another state than the specification's, are left aside. A torque location also carries its end play, where read.
_STATES = """
with place as (  -- one row per family and location
  select l.family, l.location, l.quantity, any_value(s.seals) as seals
  from known_shim_location as l
  left join known_specification as s
    on s.family = l.family and s.quantity = l.quantity and (s.location = l.location or s.location is null)
  where {place}
  group by all
),
reading as (  -- one row per job, location, stage and trial
  select m.job, m.location, m.stage, coalesce(m.trial, 0) as trial,
    avg(m.value) filter (m.quantity = p.quantity) as reading,
    max(m.value) filter (m.quantity = p.quantity) - min(m.value) filter (m.quantity = p.quantity) as spread,
    count(*) filter (m.quantity = p.quantity) as points,
    max(m.target) as target, max(m.lower) as lower, max(m.upper) as upper,
    min(m.instrument) filter (m.quantity = p.quantity) as instrument, min(m.technician) as read_by,
    min(m.bearing_maker) as make, min(m.bearing_condition) as bearing,
    coalesce(bool_or(m.bearing_state = 'setup'), false) as set_up_bearing,
    avg(m.value) filter (m.quantity = 'end_float' and p.quantity like '%torque') as end_play,
    max(m.known_on) as known_on
  from known_measurement as m
  join known_job as j using (job)
  join place as p on p.family = j.family and p.location = m.location
    and (p.quantity = m.quantity or (m.quantity = 'end_float' and p.quantity like '%torque'))
  where {newer} and {read} and coalesce(m.torque_kind, 'running') = 'running'
    and coalesce(m.seals, p.seals) is not distinct from coalesce(p.seals, m.seals)
    and (m.stage <> 'as_built' or coalesce(m.technician, j.technician) is not distinct from j.technician)
  group by all
),
pack as (
  select p.* from known_pack as p join place using (family, location) join known_job as j using (job)
  where {newer} and {packed}
),
state as (
  select coalesce(r.job, p.job) as job, coalesce(r.location, p.location) as location,
    coalesce(r.stage, p.stage) as stage, coalesce(r.trial, p.trial) as trial,
    p.total_um::double as pack, r.* exclude (job, location, stage, trial, known_on),
    greatest(r.known_on, p.known_on) as known_on
  from reading as r
  full join pack as p
    on p.job = r.job and p.location = r.location and p.stage = r.stage and p.trial = r.trial
)
select j.family, s.* from state as s join known_job as j using (job)
order by s.job, s.location, case s.stage when 'as_found' then 0 when 'trial' then 1 else 2 end, s.trial
"""


def bench_states(history: History, family: str | None = None, after: dt.date | None = None) -> pl.DataFrame:
    """Return what stood on the bench, one row per job, location, stage and trial, in bench order.

    Columns: family, job, location, stage, trial; pack (um); reading (um or mN.m, mean over the points), spread
    (largest less smallest point), points, target, lower, upper, instrument, read_by, make, bearing (new, used),
    set_up_bearing, end_play (um, torque locations), known_on. `family` limits the rows, and `after` to jobs opened
    after a day; other scope filters are for the caller.
    """
    where = "true" if family is None else "l.family = $family"
    newer = "true" if after is None else "j.opened > $after"
    # No reading and no pack is older than its job: by their own day the engine skips what lies before.
    read, packed = ("true", "true") if after is None else ("m.known_on > $after", "p.known_on > $after")
    values = {name: value for name, value in (("family", family), ("after", after)) if value is not None}
    return history.query(_STATES.format(place=where, newer=newer, read=read, packed=packed), values)
