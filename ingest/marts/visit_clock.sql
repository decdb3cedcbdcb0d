-- One row per job and clock (km, or hours where they are kept): what the unit itself had run when the job was opened.
-- `clock_group` 0 is the unit's own distance from new; any other number is the day of a fitting whose clock starts at
-- nought with it, so that only differences within the group mean anything. `next_group` and `next_at` place what was fitted in this
-- job on the clock of the next vehicle, where the unit left the old one. `since_at` is the clock when the complaint
-- began: written down (`since_exact`), or read off the straight line between the readings about that day.
with fitted as (  -- one row per fitting that can be placed in time
  select f.unit, f.fitted_from, f.fitted_to, greatest(f.fitted_from, f.known_on) as usable_from, f.known_on,
    f.fitted_from - date '1900-01-01' as fitting_number, f.odometer_m, f.hours_min,
    coalesce(f.unit_distance_m, if(u.lives_known_from_new and f.fitted_from <= u.in_service_since, 0, null)) as base_m,
    if(u.lives_known_from_new and f.fitted_from <= u.in_service_since, 0, null) as base_min
  from new.fitting as f join new.unit as u using (unit)
),
dial as (  -- one row per fitting and clock with the vehicle's reading at its start
  select unit, fitted_from, fitted_to, usable_from, known_on, fitting_number, 'km' as clock, odometer_m as reading,
    base_m as base
  from fitted where odometer_m is not null
  union all
  select unit, fitted_from, fitted_to, usable_from, known_on, fitting_number, 'hours', coalesce(hours_min, 0), base_min
  from fitted where hours_min is not null or base_min is not null
),
visit as (  -- one row per job and clock kept in it
  select j.job_id, j.unit_id, j.unit, j.opened, coalesce(j.closed, j.delivered, j.opened) as left_on, j.known_on,
    j.complaint_since, coalesce(j.usage_basis, 'read') as basis, 'km' as clock, j.odometer_m as reading,
    j.unit_distance_m as own, j.odometer_since_m as reading_since
  from new.job as j
  union all
  select j.job_id, j.unit_id, j.unit, j.opened, coalesce(j.closed, j.delivered, j.opened), j.known_on,
    j.complaint_since, coalesce(j.usage_basis, 'read'), 'hours', j.hours_min, null, null
  from new.job as j where j.hours_min is not null
),
placed as (  -- the same with the fitting in which it came, where that was known when it came
  select v.*, d.base, d.reading as reading_fitted, d.fitted_from, d.fitting_number,
    d.unit is not null and (d.fitted_to is null or d.fitted_to >= v.opened) as in_vehicle,
    d.unit is not null and d.fitted_to <= v.left_on as left_vehicle
  from visit as v
  asof left join dial as d on d.unit = v.unit and d.clock = v.clock and d.usable_from <= v.opened
),
read_off as (
  select p.*,
    case when basis in ('unknown', 'clock_replaced') then null
      when own is not null then own
      when in_vehicle and reading >= reading_fitted then reading - reading_fitted + coalesce(base, 0) end as clock_at,
    if(own is not null or base is not null, 0, fitting_number) as clock_group,
    case when basis = 'unknown' or (own is null and reading is null) then 'usage_unknown'
      when basis = 'clock_replaced' then 'clock_replaced'
      when own is null and in_vehicle and reading < reading_fitted then 'clock_runs_backwards'
      when own is null and not in_vehicle then 'no_vehicle' end as why_not
  from placed as p
),
point as (  -- one row per unit, day and clock with a reading, and since when it was known
  select unit, seen as day, 'km' as clock, max(odometer_m) as reading, seen as known_on from new.sighting
  where odometer_m is not null group by unit, seen
  union all
  select unit, seen, 'hours', max(hours_min), seen from new.sighting where hours_min is not null group by unit, seen
  union all
  select unit, fitted_from, clock, reading, known_on from dial
  union all
  select unit, opened, clock, reading, opened from visit where reading is not null and basis in ('read', 'estimated')
),
undated as (  -- jobs whose complaint has a day but no reading
  select job_id, unit, clock, opened, reading, fitted_from, complaint_since
  from read_off where clock_at is not null and reading_since is null and complaint_since < opened and reading is not null
),
began as (  -- one row per such job and clock: the readings before and after that day that were known at the visit
  select u.job_id, u.clock,
    max(struct_pack(day := p.day, reading := p.reading)) filter (p.day <= u.complaint_since) as before,
    min(struct_pack(day := p.day, reading := p.reading)) filter (p.day >= u.complaint_since) as after
  from undated as u join point as p on p.unit = u.unit and p.clock = u.clock and p.known_on <= u.opened
  group by u.job_id, u.clock
),
since as (
  select u.job_id, u.clock, greatest(b.before.reading,
      if(b.after.reading > b.before.reading and b.after.day > b.before.day,
         b.before.reading + ((b.after.reading - b.before.reading) * (u.complaint_since - b.before.day)
                             / (b.after.day - b.before.day))::bigint, b.before.reading)) as reading
  from undated as u join began as b on b.job_id = u.job_id and b.clock = u.clock
  where b.before.reading <= u.reading and (u.fitted_from is null or b.before.day >= u.fitted_from)
),
following as (  -- one row per job whose unit left its vehicle or had none: the clock at the start of the next fitting
  select r.job_id, r.clock, d.base, d.fitting_number, d.known_on as next_known_on
  from read_off as r asof join dial as d on d.unit = r.unit and d.clock = r.clock and d.fitted_from >= r.opened
  where coalesce(r.left_vehicle, true) or not r.in_vehicle
)
select r.job_id, r.unit_id, r.clock, r.clock_at, if(r.clock_at is null, null, r.clock_group)::integer as clock_group,
  coalesce(n.base, if(n.fitting_number is null, null, 0))::bigint as next_at,
  if(n.base is not null, 0, n.fitting_number)::integer as next_group,
  case when r.reading_since <= r.reading then greatest(r.clock_at - (r.reading - r.reading_since), 0)
    when s.reading <= r.reading then greatest(r.clock_at - (r.reading - s.reading), 0) end::bigint as since_at,
  coalesce(r.reading_since <= r.reading, false) as since_exact, r.basis, r.why_not,
  r.known_on, n.next_known_on
from read_off as r
left join since as s on s.job_id = r.job_id and s.clock = r.clock
left join following as n on n.job_id = r.job_id and n.clock = r.clock
