-- One row per job and component position inspected where a part fitted here earlier sat: the latest such part.
with latest as (
  select v.job_id, p.position_id,
    max(struct_pack(fitted_on := p.settled_on, fitted_by_job := p.job, part := p.part, supplier := p.supplier,
                    maker := p.maker, lot := p.lot, origin := p.origin)) as part
  from new.job as v
  join new.part_line as p on p.unit_id = v.unit_id and p.settled_on <= v.opened and p.job_id <> v.job_id
  where p.fitted and p.position_id is not null
  group by v.job_id, p.position_id
)
select l.job_id, l.position_id, l.part.supplier as supplier, l.part.maker as maker, l.part.lot as lot,
  l.part.part as part, l.part.origin as origin, l.part.fitted_on as fitted_on, l.part.fitted_by_job as fitted_by_job,
  v.known_on, v.settled_on
from latest as l join new.job as v using (job_id)
