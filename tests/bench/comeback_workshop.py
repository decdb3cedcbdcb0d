"""Lay out a large workshop's published tables directly, as far as the questions about comebacks read them.

What the loader would make of as many source rows takes minutes; here only the asking is timed. Ten positions looked at
and three parts fitted a job; jobs come back at 8 % within 24 months, one lot in two hundred five times as often.
"""

from __future__ import annotations

from importlib import resources
from pathlib import Path

import duckdb

from analytics.warehouse_file import READS_FORMAT
from ingest.marts import as_of_the_last_day

FAMILIES, POSITIONS, TECHNICIANS, FIRST_DAY, DAYS = 12, 20, 14, "2014-01-01", 4000
COMPONENTS = (
    "synchroniser_ring", "slider", "bearing", "gear", "fork", "seal", "hub", "shaft", "needle_bearing", "detent",
)  # fmt: skip
_LISTED = ", ".join(f"'{name}'" for name in COMPONENTS)

_TABLES = f"""
create table family as select 'F' || i as family, if(i % 3 = 0, 'axle_drive', 'gearbox') as kind,
  null::date as known_on from range({FAMILIES}) t(i);
create table position as select (i * {POSITIONS} + p)::integer as position_id, 'F' || i as family,
  'position ' || p as position, [{_LISTED}][1 + p % 10] as component, null::varchar as gear, null::varchar as mate,
  null::varchar as material, null::date as known_on from range({FAMILIES}) t(i), range({POSITIONS}) s(p);
create table unit as select u::integer as unit_id, 'U' || u as unit, 'F' || u % {FAMILIES} as family,
  if(hash(u) % 3 = 0, date '2013-06-01', null) as register_entry, null::date as known_on
  from range({{jobs}} // 2) t(u);
create table job as select j::integer as job_id, 'J' || j as job, (j // 2)::integer as unit_id,
  'U' || (j // 2) as unit, 'F' || (j // 2) % {FAMILIES} as family,
  ['full_rebuild','full_rebuild','part_rebuild','reseal'][1 + (hash(j) % 4)::integer] as kind,
  date '{FIRST_DAY}' + ((hash(j + 1) % 1800) + (j % 2) * 2000)::integer as opened, opened + 2 as torn_down,
  opened + 6 as closed, opened + 8 as delivered, (hash(j + 2) % 300000)::bigint * 1000 as odometer_m,
  null::bigint as unit_distance_m, 12 + (hash(j + 3) % 2)::integer * 12 as warranty_months,
  null::bigint as warranty_distance_m, 'T' || (hash(j + 4) % {TECHNICIANS}) as technician,
  if(hash(j + 5) % 2 = 0, 'North', null) as fleet, 'mixed' as duty, 'us' as refitted_by, null::varchar as declined,
  'read' as usage_basis, opened as known_on, closed as settled_on from range({{jobs}}) t(j);
create table fitting as select unit, date '2012-01-01' as fitted_from, null::date as fitted_to, 'North' as fleet,
  'mixed' as duty, date '2012-01-01' as known_on from unit where unit_id % 5 = 0;
create table sighting as select unit, date '2018-06-01' as seen, 900000000::bigint as odometer_m, 'running' as state,
  'routine' as source, date '2018-06-01' as known_on from unit where unit_id % 4 = 0;
create table part as select 'P' || p as part, 'part ' || p as description,
  [{_LISTED}][1 + p % 10] as component from range(60) t(p);
create table part_line as select j.job_id, j.job, j.unit_id, (j.unit_id % {FAMILIES} * {POSITIONS} + n)::integer as position_id,
  'position ' || n as position, 'P' || n as part, 'S' || hash(n) % 6 as supplier, 'M' || hash(n) % 9 as maker,
  'L' || n || '-' || (j.opened - date '{FIRST_DAY}') // 60 as lot, true as fitted, 'new' as origin, null::varchar as kit,
  1000::bigint as quantity_milli, 4000::bigint as unit_cost_cents, 6000::bigint as unit_price_cents,
  j.opened as known_on, j.closed as settled_on
  from job as j, range(3) t(k), lateral (select (hash(j.job_id * 3 + k) % {POSITIONS})::integer as n);
create table comeback_link as select j.job as original_job, null::varchar as comeback_job,
  j.delivered + (hash(j.job_id + 9) % 700)::integer as reported, true as given, p.position, 'ring_wear' as damage_mode,
  ['our_work','part','part','fitter'][1 + (hash(j.job_id + 8) % 4)::integer] as outcome, 'us' as payer,
  12000::bigint as cost_cents, null::bigint as odometer_m, reported as known_on, reported as settled_on,
  null::date as comeback_known, null::date as given_from, null::varchar as given_original
  from job as j join part_line as p using (job_id)
  qualify row_number() over (partition by j.job_id order by hash(p.job_id * 7 + p.position_id)) = 1
  and hash(j.job_id + 7) % 1000 < if(hash(p.lot) % 200 = 0, 400, 80);
create table visit as select job_id, job, unit_id, unit, family, 'gearbox' as unit_kind, kind as job_kind,
  kind = 'full_rebuild' as full_strip, technician, opened, odometer_m, unit_distance_m, usage_basis, fleet, duty,
  known_on, settled_on from job;
create table finding as select j.job_id, j.job, j.unit_id, (j.unit_id % {FAMILIES} * {POSITIONS} + p)::integer as position_id,
  'position ' || p as position, null::varchar as grade, null::varchar as role, hash(j.job_id * 31 + p) % 9 = 0 as failed,
  if(failed, ['ring_wear','spalling','macropitting'][1 + p % 3], null) as damage_mode, 'reused' as action,
  null::bigint as ring_gap_um, null::bigint as end_float_um, false as from_habit, j.torn_down as known_on,
  j.closed as settled_on from job as j, range(10) t(p);
create table stock (part varchar, lot varchar, counted_on date, on_hand_milli bigint, known_on date);
create table money_line (job varchar, money_kind varchar, amount_cents bigint, known_on date);
create table warehouse_format as select {{format}} as format, date '2025-12-31' as latest;
create table clock (record varchar, column_name varchar, clock varchar, position integer);
"""
_NAMES = (
    "family", "position", "unit", "job", "fitting", "sighting", "part", "part_line", "comeback_link", "visit", "finding",
    "stock", "money_line", "part_use", "component_finding",
)  # fmt: skip


def write_comeback_workshop(folder: Path, jobs: int) -> Path:
    """Write version 1 of such job records into `folder`, with so many jobs; return the folder."""
    folder.mkdir(parents=True, exist_ok=True)
    connection = duckdb.connect(str(folder / "warehouse-000001.duckdb"))
    for statement in _TABLES.format(jobs=jobs, format=READS_FORMAT).split(";\n"):
        if statement.strip():
            connection.execute(statement)
    for name in ("part_use", "component_finding"):
        sql = resources.files("ingest.marts").joinpath(f"{name}.sql").read_text()
        connection.execute(f"create view {name} as {sql}")
    by_day = resources.files("ingest.marts").joinpath("delivered_job.sql").read_text()
    connection.execute(f"create table delivered_job as {as_of_the_last_day(by_day)}")
    connection.execute("create table mart_by_day as select 'delivered_job' as name, ? as sql", [by_day])
    for place, name in enumerate(_NAMES):
        connection.execute("insert into clock values (?, 'known_on', null, ?)", [name, place])
    connection.close()
    (folder / "CURRENT").write_text("1")
    return folder
