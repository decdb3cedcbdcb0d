-- One row per job and component position inspected where a part fitted here earlier sat: the latest such part.
with fitted_part as (  -- one row per part fitted at a position of a unit
  select j.unit_id, c.position_id, p.settled_on as fitted_on, p.supplier, p.maker, p.lot, p.part, p.origin, p.job,
    p.source_id, p.row_number
  from new.part_line as p
  join new.job as j using (job)
  join new.position as c on c.family = j.family and c.position = p.position
  where coalesce(p.movement, 'fitted') = 'fitted'
),
latest as (
  select v.job_id, p.position_id,
    max_by(struct_pack(supplier := p.supplier, maker := p.maker, lot := p.lot, part := p.part, origin := p.origin,
                       fitted_on := p.fitted_on, fitted_by_job := p.job),
           struct_pack(on_day := p.fitted_on, by_job := p.job, of_source := p.source_id, at_row := p.row_number)) as part
  from new.visit as v
  join fitted_part as p on p.unit_id = v.unit_id and p.fitted_on <= v.opened and p.job <> v.job
  group by v.job_id, p.position_id
)
select l.job_id, l.position_id, l.part.supplier as supplier, l.part.maker as maker, l.part.lot as lot,
  l.part.part as part, l.part.origin as origin, l.part.fitted_on as fitted_on, l.part.fitted_by_job as fitted_by_job,
  v.known_on, v.settled_on
from latest as l join new.visit as v using (job_id)
