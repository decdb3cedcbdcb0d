-- One row per job and component position inspected, with what was known of the part that sat there before.
-- Failed comes from grade and role, never from replaced; condition unknown leaves `failed` empty.
with fitted_part as (  -- one row per part fitted at a position of a unit
  select j.unit, p.position, p.settled_on as fitted_on, p.supplier, p.maker, p.lot, p.part, p.origin, p.job
  from new.part_line as p
  join new.job as j using (job)
  where p.position is not null and coalesce(p.movement, 'fitted') = 'fitted'
  qualify row_number() over (partition by j.unit, p.position, p.settled_on
                             order by p.job desc, p.part, p.source_id, p.row_number) = 1
),
visit as (  -- one row per job, with the fleet and duty it belonged to when opened
  select j.*, u.family, f.kind as unit_kind, coalesce(j.fleet, if(t.known_on <= j.opened, t.fleet, null)) as fleet_then,
    coalesce(j.duty, if(t.known_on <= j.opened, t.duty, null)) as duty_then
  from new.job as j
  join new.unit as u on u.unit = j.unit
  left join new.family as f on f.family = u.family
  asof left join new.fitting as t on t.unit = j.unit and t.fitted_from <= j.opened
),
inspected as (  -- one row per job and position
  select n.job, v.unit, v.family, v.unit_kind, n.position, c.component, c.material, c.gear, v.kind as job_kind,
    v.kind = 'full_rebuild' as full_strip, v.technician, v.fleet_then as fleet, v.duty_then as duty, v.opened,
    n.known_on, n.settled_on, n.grade, n.role, n.damage_mode, n.action, n.ring_gap_um, n.end_float_um, n.from_habit,
    case when n.grade is null and n.role is null then null
      else coalesce(n.grade in ('3', '4'), false) or coalesce(n.role in ('cause', 'failed'), false) end as failed,
    v.odometer_m, v.unit_distance_m, v.usage_basis
  from new.finding as n
  join visit as v on v.job = n.job
  left join new.position as c on c.family = v.family and c.position = n.position
)
select i.*, p.supplier, p.maker, p.lot, p.part, p.fitted_on, p.job as fitted_by_job
from inspected as i
asof left join fitted_part as p on p.unit = i.unit and p.position = i.position and p.fitted_on <= i.opened
order by i.family, i.position, i.unit, i.known_on, i.job
