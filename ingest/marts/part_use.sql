-- One row per part fitted in a job; known once the job was put together.
select p.job, j.unit, u.family, p.part, t.description, coalesce(c.component, t.component) as component, p.position,
  p.supplier, p.maker, p.lot, coalesce(p.origin, 'new') as origin, p.kit, p.quantity_milli, p.unit_cost_cents,
  p.unit_price_cents, j.kind as job_kind, j.technician, j.fleet, j.duty, p.settled_on as used_on,
  p.settled_on as known_on, p.settled_on
from new.part_line as p
join new.job as j using (job)
join new.unit as u on u.unit = j.unit
left join new.part as t on t.part = p.part
left join new.position as c on c.family = u.family and c.position = p.position
where coalesce(p.movement, 'fitted') = 'fitted'
