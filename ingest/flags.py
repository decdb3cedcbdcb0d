"""Flag accepted rows that deserve a second look; they are kept and count as they stand."""

from __future__ import annotations

import duckdb

from ingest.records import RECORDS

PACK_TOLERANCE_UM = 20  # a measured stack may differ so much from its lines (dirt, oil, burrs) without a flag

_FLAGS = (
    """
    -- One row per job dated after the day of the load: a year typed wrong?
    select 'job' as record, job, unit, 'future_date' as about,
      'opened ' || opened || coalesce(', handed over ' || delivered, '') || ' lies in the future: a year typed wrong?'
        as sentence
    from new.job where greatest(opened, coalesce(delivered, opened)) > current_date + 1
    """,
    """
    -- One row per job whose odometer is lower than at the visit before in the same vehicle.
    select 'job' as record, job, unit, 'falling_odometer' as about,
      'odometer ' || odometer_m // 1000 || ' km on ' || opened || ' is below the ' || before_m // 1000
        || ' km of job ' || before_job || ': clock replaced?' as sentence
    from (
      select j.*, lag(j.odometer_m) over visits as before_m, lag(j.job) over visits as before_job
      from new.job as j
      asof left join new.fitting as t on t.unit = j.unit and t.fitted_from <= j.opened
      where j.odometer_m is not null and coalesce(j.usage_basis, 'read') in ('read', 'clock_replaced')
      window visits as (partition by j.unit, t.fitted_from order by j.opened, j.odometer_m, j.job)
    )
    where odometer_m < before_m and coalesce(usage_basis, 'read') = 'read'
    """,
    f"""
    -- One row per pack whose lines do not add up to its measured stack.
    select 'shim', p.job, p.unit, 'pack_differs',
      p.location || ', ' || p.stage || ': lines add up to ' || printf('%.3f', p.total_um / 1000.0)
        || ' mm, the stack was measured as ' || printf('%.3f', m.value / 1000.0) || ' mm'
    from new.pack as p
    join new.measurement as m on m.job = p.job and m.location = p.location and m.stage = p.stage
      and coalesce(m.trial, 0) = p.trial and m.quantity = 'pack_thickness'
    where abs(p.total_um - m.value) > {PACK_TOLERANCE_UM}
    """,
    """
    -- One row per reading whose target is not the constant plus the marking under the set's sign rule.
    select distinct 'measurement', m.job, j.unit, 'target_not_marking',
      'target ' || printf('%.3f', m.target / 1000.0) || ' mm, but ' || printf('%.3f', s.constant / 1000.0)
        || if(coalesce(g.sign_rule, 'added') = 'added', ' plus ', ' minus ')
        || printf('%.3f', g.marked_depth_um / 1000.0)
        || ' mm marked on set ' || g.set_number || ' is ' || printf('%.3f', (s.constant
        + if(coalesce(g.sign_rule, 'added') = 'added', g.marked_depth_um, -g.marked_depth_um)) / 1000.0) || ' mm'
    from new.measurement as m
    join new.job as j using (job)
    join new.gear_set as g on g.set_number = if(m.stage = 'as_found', j.gear_set_found, j.gear_set_built)
    join new.specification as s on s.family = j.family and s.quantity = m.quantity
      and s.basis = 'constant_plus_marked_deviation' and (s.location is null or s.location = m.location)
      -- A set is new here where another was found; one that was kept is set by what it read before the strip.
      and coalesce(s.gear_set_condition, 'any') in
        ('any', if(m.stage <> 'as_found' and j.gear_set_found <> j.gear_set_built, 'new', 'used'))
    where m.target is not null and g.marked_depth_um is not null
      and m.target <> s.constant + if(coalesce(g.sign_rule, 'added') = 'added', g.marked_depth_um, -g.marked_depth_um)
    """,
    """
    -- One row per thick piece listed among thin shims: a graded spacer?
    select distinct 'shim', s.job, j.unit, 'spacer_among_shims',
      s.location || ': a piece of ' || printf('%.3f', s.thickness_um / 1000.0)
        || ' mm among shims; a graded spacer written as a shim?'
    from new.shim as s
    join new.job as j using (job)
    join new.shim_location as l on l.family = j.family and l.location = s.location and l.sits = 'shims'
    where s.thickness_um >= 2000
      and exists (select 1 from new.shim as o where o.job = s.job and o.location = s.location and o.stage = s.stage
                  and o.thickness_um < 1000)
    """,
    """
    -- One row per pair of unit tags that differ only in spaces, dashes, or O for 0 and I for 1: proposed, never joined.
    select 'unit', null, min(unit), 'near_equal_tags',
      'units ' || string_agg(unit, ', ' order by unit) || ' of family ' || family || ' may be one and the same'
    from new.unit
    group by family, translate(upper(replace(replace(replace(unit, ' ', ''), '-', ''), '/', '')), 'OIL', '011')
    having count(*) > 1
    """,
)


def flag(connection: duckdb.DuckDBPyConnection) -> None:
    """Create `new.flag`: record, job, unit, about (the kind of flag), sentence."""
    connection.execute(
        "create table new.flag (record varchar, job varchar, unit varchar, about varchar, sentence varchar)"
    )
    for sql in (*_FLAGS, *_unknown_names()):
        connection.execute(f"insert into new.flag {sql}")


def _unknown_names() -> list[str]:
    """Return SQL that flags each name that no record declares, once with its number of rows."""
    checks = []
    for record in RECORDS:
        for field in record.fields:
            if field.names is None:
                continue
            parent, parent_field = field.names.split(".")
            checks.append(f"""
                select '{record.name}', null, null, 'unknown_name',
                  '{field.name} ''' || {field.column} || ''' in ' || count(*)
                    || ' {record.name} rows is on record as no {parent}'
                from new.{record.name}
                where {field.column} is not null and exists (select 1 from new.{parent})
                  and {field.column} not in (select {parent_field} from new.{parent})
                group by {field.column}
            """)
    return checks
