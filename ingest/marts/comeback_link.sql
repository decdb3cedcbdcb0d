-- One row per job that comes back and the job it comes back from, given or inferred.
-- Inferred: same unit, reopened within the fixed window whatever was sold, a component failed that the earlier job
-- touched; attributed to the latest such job. `given_from` dates the given link that overrides an inferred one, and
-- `comeback_known` the day from which it was known which job it became, `cause_known` that from which it was known what
-- was at fault.
with touched as (  -- one row per job and component position worked on, once for each finding or part
  select job_id, position, settled_on from new.finding
  where action in ('adjusted', 'reworked', 'replaced_failed', 'replaced_routine', 'replaced_mate')
  union all
  select job_id, position, settled_on from new.part_line where fitted and position is not null
),
failing as (  -- one row per job and component position found failed
  select job_id, position, known_on, settled_on, damage_mode from new.finding
  where failed
),
reopened as (  -- one row per pair of visits of a unit within the window
  select later.job as comeback_job, later.job_id as later_id, earlier.job as original_job, earlier.job_id as earlier_id,
    later.opened as reported, earlier.delivered
  from new.job as later
  join new.job as earlier on earlier.unit_id = later.unit_id and earlier.job <> later.job
    and earlier.delivered <= later.opened and later.opened - earlier.delivered <= $window_days
),
candidate as (  -- one row per pair of jobs that share a component
  select r.comeback_job, r.original_job, r.reported, r.delivered, max(f.known_on) as known_on,
    max(f.settled_on) as settled_on, min(f.position) as position, arg_min(f.damage_mode, f.position) as damage_mode
  from reopened as r
  join failing as f on f.job_id = r.later_id
  join touched as t on t.job_id = r.earlier_id and t.position = f.position and t.settled_on <= f.known_on
  group by r.comeback_job, r.original_job, r.reported, r.delivered
),
inferred as (  -- one row per job that comes back
  select * from candidate
  qualify row_number() over (partition by comeback_job order by delivered desc, original_job) = 1
),
given as (  -- one row per comeback on record
  select original_job, comeback_job, reported, position, damage_mode, outcome, payer, cost_cents, odometer_m,
    known_on, settled_on, comeback_known
  from new.comeback
),
given_of_job as (  -- one row per job that is given as a comeback
  select comeback_job, min(comeback_known) as given_from,
    arg_min(original_job, struct_pack(day := comeback_known, job := original_job)) as given_original
  from given where comeback_job is not null group by comeback_job
)
select original_job, comeback_job, reported, true as given, position, damage_mode, outcome, payer, cost_cents,
  odometer_m, known_on, settled_on, settled_on as cause_known, comeback_known, null::date as given_from, null::varchar as given_original
from given
union all
select i.original_job, i.comeback_job, i.reported, false, i.position, i.damage_mode, null, null, null,
  j.odometer_m, i.known_on, i.settled_on, i.known_on, i.known_on, g.given_from, g.given_original
from inferred as i
join new.job as j on j.job = i.comeback_job
left join given_of_job as g on g.comeback_job = i.comeback_job
order by original_job, reported, given desc, comeback_job
