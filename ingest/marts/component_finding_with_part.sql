-- One row per job and component position inspected, with the part fitted here earlier that was found there. A view.
select f.*, p.supplier, p.maker, p.lot, p.part, p.origin, p.fitted_on, p.fitted_by_job
from component_finding as f
left join part_before as p on p.job_id = f.job_id and p.position_id = f.position_id
