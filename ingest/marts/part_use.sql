-- One row per part fitted in a job; known once the job was put together. A view.
select p.job, j.unit, j.family, p.part, t.description, coalesce(c.component, t.component) as component, p.position,
  p.supplier, p.maker, p.lot, coalesce(p.origin, 'new') as origin, p.kit, p.quantity_milli, p.unit_cost_cents,
  p.unit_price_cents, j.kind as job_kind, j.technician, j.fleet, j.duty, p.settled_on as used_on,
  p.settled_on as known_on, p.settled_on
from part_line as p
join job as j on j.job_id = p.job_id
left join part as t on t.part = p.part
left join position as c on c.position_id = p.position_id
where p.fitted
