-- One row per component position seen or renewed at a visit, of units whose clock was ever read or that a register
-- lists: what that says of the life that sat there. `started_by` is the job that fitted it (NULL: there from new), `origin` how it began, `good_at` and `good_by` the
-- last age and job at which it was known good, `state` what was found: good, failed, cause (of the complaint), renewed
-- (without being looked at). `superseded_on` is the day on which a later look at the same life became known, so that
-- what was known of a life on a day is one row. `why_not` says why the age is not known. Ages in metres (in
-- life_inspection_hours by the hour meter: in minutes; only units with such a reading).
-- `life_kind`: how the life stands at that look: 0 sound at its age, 1 renewed unseen (sound at good_age), 2 failed at since_age,
-- 3 failed between good_age and its age, 4 failed between since_age and its age, 5 failed by its age. `life_bin`: that kind and the
-- bins of the lower and upper age, (kind * 8192 + lower) * 8192 + upper, so that lives can be counted without being
-- looked at one by one. Bins are geometric, half a per cent wide, 10 % for kinds 3 and 4. Sorted by position, by which they
-- are counted.
with opening as (  -- one row per job: whether its teardown newly showed work of others
  select job_id, coalesce(earlier_work = 'others' and lag(earlier_work) over visits is distinct from 'others', false)
    as by_others
  from new.job window visits as (partition by unit_id order by opened, job_id)
),
elsewhere as (  -- one row per job of a unit that another workshop opened before: how often
  select j.job_id, count(*) as times
  from new.job as j join new.sighting as s on s.unit = j.unit and s.state = 'opened_elsewhere' and s.seen <= j.opened
  group by j.job_id
),
read_here as (  -- one row per job: its clock, and how often others had opened the unit by what its teardown showed
  select c.*,
    (coalesce(e.times, 0)
     + sum(o.by_others::integer) over (partition by j.unit_id order by j.opened, j.job_id))::integer as openings
  from new.visit_clock as c
  join new.job as j using (job_id)
  join opening as o using (job_id)
  left join elsewhere as e using (job_id)
  where c.clock = '$clock'
),
measured as (  -- one row per unit with a reading at some visit, or on a register, and since when it was one
  select unit_id, min(known_on) as measured_on
  from (select unit_id, known_on from new.visit_clock where clock_at is not null and '$clock' in ('km', clock)
        union all select unit_id, register_entry from new.unit where register_entry is not null and '$clock' = 'km')
  group by unit_id
),
fitted_part as (  -- one row per job and position that a part went into, own parts put back aside
  select job_id, unit_id, position_id, max(settled_on) as settled_on,
    bool_or(origin in ('used_donor', 'customer_supplied')) as of_unknown_age,
    bool_and(coalesce(origin, 'new') = 'reconditioned') as reconditioned
  from new.part_line semi join measured using (unit_id)
  where fitted and position_id is not null and coalesce(origin, 'new') <> 'own_refitted'
  group by job_id, unit_id, position_id
),
event as (  -- one row per job and position looked at or renewed
  select coalesce(n.job_id, p.job_id) as job_id, coalesce(n.unit_id, p.unit_id) as unit_id,
    coalesce(n.position_id, p.position_id) as position_id,
    case when n.job_id is null then 'renewed'
      when coalesce(n.grade >= '3', n.failed) is not true then if(n.failed is null and n.grade is null, null, 'good')
      when n.role = 'cause' then 'cause' else 'failed' end as state,
    case when n.action in ('reused', 'adjusted', 'left_worn') then null
      when n.action = 'reworked' then 'reworked'
      when p.of_unknown_age then 'not_known'
      when p.reconditioned then 'reconditioned'
      when n.action in ('replaced_failed', 'replaced_routine', 'replaced_mate') or p.job_id is not null then 'fitted_here'
    end as renews,
    n.failed and n.grade < '3' as named_failed, n.from_habit, coalesce(n.known_on, p.settled_on) as known_on,
    coalesce(n.settled_on, p.settled_on) as settled_on
  from (select * from new.finding semi join measured using (unit_id) where position_id is not null) as n
  full join fitted_part as p on p.job_id = n.job_id and p.position_id = n.position_id
),
numbered as (  -- the same in order of visits, with the job that began the life and how often others had opened the unit
  select e.*, c.clock_at, c.clock_group, c.since_at, c.since_exact, c.basis, c.openings, c.why_not,
    count(e.renews) over earlier as life_number,
    last_value(if(e.renews is not null, e.job_id, null) ignore nulls) over earlier as started_by,
    last_value(e.renews ignore nulls) over earlier as begun,
    last_value(if(e.renews is not null, c.openings, null) ignore nulls) over earlier as openings_then
  from event as e join read_here as c on c.job_id = e.job_id
  join new.job as j on j.job_id = e.job_id
  window earlier as (partition by e.unit_id, e.position_id order by j.opened, e.job_id
                     rows between unbounded preceding and 1 preceding)
),
alike as (  -- the same with what was known of that life before and after
  select n.*,
    last_value(if(state = 'good', job_id, null) ignore nulls) over earlier as good_by,
    coalesce(bool_or(state in ('failed', 'cause')) over earlier, false) as had_failed
  from numbered as n
  window earlier as (partition by unit_id, position_id, life_number, openings order by known_on, job_id
                rows between unbounded preceding and 1 preceding)
),
begun as (  -- the same with the clock at the life's beginning, and at the last look that found it good
  select a.*, u.lives_known_from_new and u.in_service_since is not null as from_new,
    case when a.started_by is null then if(a.clock_group = 0, 0, null)
      when s.clock_group = a.clock_group then s.clock_at
      when s.next_group = a.clock_group then s.next_at end as start_at,
    if(g.clock_group = a.clock_group, g.clock_at, null) as good_clock
  from alike as a
  join new.unit as u on u.unit_id = a.unit_id
  left join read_here as s on s.job_id = a.started_by
  left join read_here as g on g.job_id = a.good_by
),
told as (
  select job_id, unit_id, position_id, life_number, openings, state, from_habit, named_failed, started_by,
    case when started_by is null then if(from_new, 'from_new', 'not_known') else begun end as origin,
    good_by, (clock_at - start_at)::bigint as age,
    greatest(coalesce(good_clock - start_at, 0), 0)::bigint as good_age,
    if(state = 'cause' and since_at >= start_at, since_at - start_at, null)::bigint as since_age, since_exact,
    basis = 'estimated' as estimated,
    case when state is null then 'not_graded'
      when why_not is not null then why_not
      when started_by is null and from_new is not true then 'origin_unknown'
      when openings <> coalesce(openings_then, 0) then 'opened_by_others'
      when begun = 'not_known' then 'part_of_unknown_age'
      when start_at is null then 'distance_at_start_unknown'
      when clock_at < start_at then 'clock_runs_backwards'
      when had_failed then 'failed_before'
    end as why_not,
    renews, known_on, settled_on
  from begun
),
kinds as (
  select *, if(life_kind in (3, 4), 1 / ln(1.1), 1 / ln(1.005)) as per_bin
  from (
    select *, case when why_not is not null then null when state = 'good' then 0 when state = 'renewed' then 1
        when since_exact and state = 'cause' and since_age >= good_age and since_age > 0 then 2
        when good_age > 0 and coalesce(since_age < age and since_age > good_age, false) is not true then 3
        when since_age > 0 and since_age < age then 4 when good_age > 0 or since_age > 0 then 3 else 5 end::integer
      as life_kind
    from told
  )
)
select t.* exclude (life_number, openings, life_kind, per_bin) replace (greatest(t.known_on, m.measured_on) as known_on),
  ((life_kind * 8192
    + case life_kind when 1 then (ln(greatest(good_age, 1)) * per_bin)::integer when 5 then 0
        when 3 then (ln(greatest(good_age, 1)) * per_bin)::integer
        when 0 then (ln(greatest(age, 1)) * per_bin)::integer
        else (ln(greatest(since_age, 1)) * per_bin)::integer end) * 8192
   + if(life_kind in (3, 4, 5), (ln(greatest(age, 1)) * per_bin)::integer, 0)) as life_bin,
  greatest(first_value(if(why_not is null, t.known_on, null) ignore nulls) over later,
           if(count(*) filter (why_not is null) over later > 0, m.measured_on, null)) as superseded_on
from kinds as t join measured as m using (unit_id)
window later as (partition by t.unit_id, position_id, life_number, openings order by t.known_on, job_id
                 rows between 1 following and unbounded following)
order by t.position_id, t.job_id  -- lives are counted by position, and asked for by family
