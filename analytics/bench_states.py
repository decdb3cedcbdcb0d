"""Read what stood on the bench: the pack and the reading of each location as found, at each trial and as built."""

from __future__ import annotations

import datetime as dt

import polars as pl

from analytics.history import History

# One row per reading of the quantity that a location sets, and one per shim piece of its pack. As built, only the lead
# technician's own readings count, so that readings repeated by another (gauge studies) do not mix in. Breakaway torques,
# and readings with the seals in another state than the specification's, are left aside. A torque location also carries
# its end play, where read.
_STOOD = """
with job_in_question as (select job_id, family, technician from known_job where {of_jobs}),
place as (  -- one row per family and location
  select l.family, l.location, l.quantity, any_value(s.seals) as seals
  from known_shim_location as l
  left join known_specification as s
    on s.family = l.family and s.quantity = l.quantity and (s.location = l.location or s.location is null)
  where $family is null or l.family = $family
  group by all
)
select m.job_id, m.location, m.stage, coalesce(m.trial, 0) as trial, null::bigint as pack, true as is_read,
  if(m.quantity = p.quantity, m.value, null) as reading,
  if(m.quantity = 'end_float' and p.quantity like '%torque', m.value, null) as end_play, m.target, m.lower, m.upper,
  if(m.quantity = p.quantity, m.instrument, null) as instrument, m.technician as read_by, m.bearing_maker as make,
  m.bearing_condition as bearing, m.bearing_state = 'setup' as set_up_bearing, m.known_on
from known_measurement as m
join job_in_question as j using (job_id)
join place as p on p.family = j.family and p.location = m.location
  and (p.quantity = m.quantity or (m.quantity = 'end_float' and p.quantity like '%torque'))
where {read} and coalesce(m.torque_kind, 'running') = 'running'
  and coalesce(m.seals, p.seals) is not distinct from coalesce(p.seals, m.seals)
  and (m.stage <> 'as_built' or coalesce(m.technician, j.technician) is not distinct from j.technician)
union all
select s.job_id, s.location, s.stage, coalesce(s.trial, 0), s.thickness_um * coalesce(s.pieces, 1), false,
  null, null, null, null, null, null, null, null, null, null, s.known_on
from known_shim as s
join job_in_question as j using (job_id)
join place as p on p.family = j.family and p.location = s.location
where {packed}
"""
_JOBS = "select job_id, job, family from known_job where {of_jobs}"
_STATE = ("job_id", "location", "stage", "trial")
_STAGES = ("as_found", "trial", "as_built")


def bench_states(history: History, family: str | None = None, after: dt.date | None = None) -> pl.DataFrame:
    """Return what stood on the bench, one row per job, location, stage and trial, in bench order.

    Columns: family, job, location, stage, trial; pack (um); reading (um or mN.m, mean over the points), spread
    (largest less smallest point), points, target, lower, upper, instrument, read_by, make, bearing (new, used),
    set_up_bearing, end_play (um, torque locations), known_on. `family` limits the rows, and `after` to jobs opened
    after a day; other scope filters are for the caller.
    """
    of_jobs = "($family is null or family = $family)" + ("" if after is None else " and opened > $after")
    # No reading and no piece is older than its job: by their own day the engine skips what lies before.
    read, packed = ("true", "true") if after is None else ("m.known_on > $after", "s.known_on > $after")
    values = {"family": family} | ({} if after is None else {"after": after})
    stood = history.query(_STOOD.format(of_jobs=of_jobs, read=read, packed=packed), values)
    jobs = history.query(_JOBS.format(of_jobs=of_jobs), values)
    return (
        _states(stood)
        .join(jobs, on="job_id", how="inner")
        .with_columns(pl.col("stage").replace_strict(_STAGES, range(len(_STAGES))).alias("order"))
        .sort("job", "location", "order", "trial")
        .select(
            "family", "job", "location", "stage", "trial", "pack", "reading", "spread", "points", "target", "lower",
            "upper", "instrument", "read_by", "make", "bearing", "set_up_bearing", "end_play", "known_on",
        )
    )  # fmt: skip


def _states(stood: pl.DataFrame) -> pl.DataFrame:
    """Return one row per job, location, stage and trial of the rows of `_STOOD`; a reading is the mean over its points."""
    reading, is_read = pl.col("reading"), pl.col("is_read").any()

    def if_any(column: pl.Expr, known: pl.Expr) -> pl.Expr:
        return pl.when(known).then(column).otherwise(None)

    return stood.group_by(_STATE).agg(
        if_any(pl.col("pack").sum(), pl.col("pack").count() > 0).cast(pl.Float64).alias("pack"),
        reading.mean().alias("reading"), (reading.max() - reading.min()).alias("spread"),
        if_any(reading.count().cast(pl.Int64), is_read).alias("points"),
        pl.col("target", "lower", "upper").max(), pl.col("instrument", "read_by", "make", "bearing").min(),
        if_any(pl.col("set_up_bearing").any(), is_read).alias("set_up_bearing"), pl.col("end_play").mean(),
        pl.col("known_on").max(),
    )  # fmt: skip
