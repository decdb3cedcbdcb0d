-- One row per job and component position inspected. A view: the finding with its visit and its position.
select n.job_id, n.job, n.unit_id, v.unit, n.position_id, v.family, v.unit_kind, n.position, c.component, c.material,
  c.gear, v.job_kind, v.full_strip, v.technician, v.fleet, v.duty, v.opened, n.grade, n.role, n.failed, n.damage_mode,
  n.action, n.ring_gap_um, n.end_float_um, n.from_habit, v.odometer_m, v.unit_distance_m, v.usage_basis,
  n.known_on, n.settled_on
from finding as n
join visit as v on v.job_id = n.job_id
left join position as c on c.position_id = n.position_id
