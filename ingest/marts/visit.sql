-- One row per job, with what was known of its unit, fleet and duty when it was opened.
with placed as (  -- one row per job of a unit whose vehicle was known by then: the latest fitting
  select j.job_id, max_by(struct_pack(fleet := t.fleet, duty := t.duty), t.fitted_from) as fitting
  from new.job as j
  join new.fitting as t on t.unit = j.unit and t.fitted_from <= j.opened and t.known_on <= j.opened
  group by j.job_id
)
select j.job_id, j.job, j.unit_id, j.unit, j.family, f.kind as unit_kind, j.kind as job_kind,
  j.kind = 'full_rebuild' as full_strip, j.technician, j.opened, j.odometer_m, j.unit_distance_m, j.usage_basis,
  coalesce(j.fleet, p.fitting.fleet) as fleet, coalesce(j.duty, p.fitting.duty) as duty, j.known_on, j.settled_on
from new.job as j
left join new.family as f on f.family = j.family
left join placed as p on p.job_id = j.job_id
