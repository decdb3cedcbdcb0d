-- One row per job, with what was known of its unit, fleet and duty when it was opened.
select j.job_id, j.job, j.unit_id, j.unit, j.family, f.kind as unit_kind, j.kind as job_kind,
  j.kind = 'full_rebuild' as full_strip, j.technician, j.opened, j.odometer_m, j.unit_distance_m, j.usage_basis,
  coalesce(j.fleet, if(t.known_on <= j.opened, t.fleet, null)) as fleet,
  coalesce(j.duty, if(t.known_on <= j.opened, t.duty, null)) as duty,
  j.known_on, j.settled_on
from new.job as j
left join new.family as f on f.family = j.family
asof left join new.fitting as t on t.unit = j.unit and t.fitted_from <= j.opened
