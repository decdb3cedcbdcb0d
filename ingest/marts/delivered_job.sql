-- One row per job handed over, an inspection aside, with what became of it: its first comeback, and what ends its
-- observation. Stored as of the last day on record; asked again, as it stands here, for any day before.
with link as (  -- one row per comeback known on the day: given, or inferred where none is given for that job
  select * from known_comeback_link where given or given_from is null or given_from > $as_of
),
sighted as (  -- one row per sighting, by the number of its unit
  select u.unit_id, s.seen, s.odometer_m, s.state, s.source from known_sighting as s join known_unit as u using (unit)
),
placement as (  -- one row per fitting, by the number of its unit
  select u.unit_id, t.fitted_from from known_fitting as t join known_unit as u using (unit)
),
reading as (  -- one row per odometer read
  select unit_id, seen as day, odometer_m from sighted where odometer_m is not null
  union all
  select unit_id, opened, odometer_m from known_job where odometer_m is not null
),
placed as (
  select r.*, t.fitted_from from reading as r
  asof left join placement as t on t.unit_id = r.unit_id and t.fitted_from <= r.day
),
span as (  -- one row per unit and fitting
  select unit_id, fitted_from, max(odometer_m) - min(odometer_m) as metres, max(day) - min(day) as days
  from placed group by all
),
pace as (  -- one row per unit: metres a day while it was watched long enough to tell
  select unit_id, sum(metres)::double / sum(days) as metres_a_day, sum(days) as days
  from span where metres > 0 and days > 0 group by unit_id having sum(days) >= 60
),
typical as (  -- one row: pace of a unit in the middle
  select median(metres_a_day) as metres_a_day from pace
),
delivered as (
  select j.job_id, j.unit_id, j.delivered from known_job as j
  where j.delivered is not null and j.kind <> 'inspection'
),
linked as (  -- one row per comeback of a job handed over
  select j.job_id, k.* from link as k join known_job as j on j.job = k.original_job where k.reported >= j.delivered
),
comeback as (  -- one row per job: its first comeback of all, its first by our own work, and its first that is given
  select job_id, min(reported) as reported, min(reported) filter (outcome = 'our_work') as reported_ours,
    min(reported) filter (given) as reported_given,
    arg_min_null(odometer_m, reported) as reported_m, arg_min(given, reported) as first_given,
    arg_min_null(outcome, reported) as first_outcome, arg_min_null(position, reported) as first_position,
    arg_min_null(damage_mode, reported) as first_mode, arg_min_null(known_on, reported) as first_known,
    arg_min_null(payer, reported) as first_payer, arg_min_null(comeback_job, reported) as first_job
  from linked group by job_id
),
next_rebuild as (  -- one row per job: the next full rebuild of its unit that is no comeback from it
  select d.job_id, min(n.opened) as opened
  from known_job as d
  join known_job as n on n.unit_id = d.unit_id and n.opened > d.delivered and n.job_id <> d.job_id
  anti join linked as k on k.job_id = d.job_id and k.comeback_job = n.job
  where n.kind = 'full_rebuild' group by d.job_id
),
last_end as (  -- one row per job: its unit's retirement, or opening by others, after it
  select d.job_id, min(e.seen) as seen, arg_min(e.state, e.seen) as state
  from delivered as d join sighted as e on e.unit_id = d.unit_id and e.seen >= d.delivered
  where e.state in ('retired', 'opened_elsewhere') group by d.job_id
),
last_seen as (  -- one row per job: its unit's last sighting that does not owe itself to a comeback
  select d.job_id, max(i.seen) as seen
  from delivered as d join sighted as i on i.unit_id = d.unit_id and i.seen >= d.delivered
  where i.source in ('register', 'routine') and coalesce(i.state, 'running') = 'running' group by d.job_id
)
select j.job, j.job_id, j.unit, j.unit_id, u.family, j.kind, j.technician, v.fleet, v.duty, j.opened, j.delivered,
  j.odometer_m, j.warranty_months, j.warranty_distance_m, u.register_entry, j.refitted_by, c.* exclude (job_id),
  r.opened as next_rebuild, e.seen as ended, e.state as ended_how, s.seen as last_independent, p.metres_a_day,
  p.days as paced_days, y.metres_a_day as typical_metres_a_day
from delivered as d
join known_job as j using (job_id)
join known_unit as u on u.unit_id = j.unit_id
left join known_visit as v on v.job_id = j.job_id
left join comeback as c on c.job_id = j.job_id
left join next_rebuild as r on r.job_id = j.job_id
left join last_end as e on e.job_id = j.job_id
left join last_seen as s on s.job_id = j.job_id
left join pace as p on p.unit_id = j.unit_id
cross join typical as y
