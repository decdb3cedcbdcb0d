-- One row per job, shim location, stage and trial: the whole pack.
with whole as (
  select job_id, location, stage, coalesce(trial, 0) as trial,
    sum(thickness_um * coalesce(pieces, 1))::bigint as total_um, sum(coalesce(pieces, 1))::bigint as pieces,
    bool_and(coalesce(thickness_basis, 'nominal') = 'measured') as measured, max(known_on) as known_on,
    max(settled_on) as settled_on
  from new.shim group by job_id, location, stage, coalesce(trial, 0)
)
select j.job, j.unit, j.family, w.location, w.stage, w.trial, w.total_um, w.pieces, w.measured, w.known_on,
  w.settled_on
from whole as w join new.job as j using (job_id)
