-- One row per job, shim location, stage and trial: the whole pack.
select s.job, j.unit, j.family, s.location, s.stage, coalesce(s.trial, 0) as trial,
  sum(s.thickness_um * coalesce(s.pieces, 1))::bigint as total_um, sum(coalesce(s.pieces, 1))::bigint as pieces,
  bool_and(coalesce(s.thickness_basis, 'nominal') = 'measured') as measured,
  max(s.known_on) as known_on, max(s.settled_on) as settled_on
from new.shim as s
join new.job as j using (job)
group by s.job, j.unit, j.family, s.location, s.stage, coalesce(s.trial, 0)
