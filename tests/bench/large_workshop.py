"""Write a large invented workshop as CSV files, with a known share of planted defects, by DuckDB itself.

One row per planted defect kind and record type is returned with its count, so that a load can be reconciled.
"""

from __future__ import annotations

from pathlib import Path

import duckdb

FAMILIES, POSITIONS = 12, 20
DEFECT_EVERY = 100  # one row in a hundred of each large record type is planted with a defect

_COMPONENTS = "['synchroniser_ring','slider','bearing','gear','fork','seal','hub','shaft','needle_bearing','detent']"
_GRADE = "['0','1','1','2','2','2','3','4'][1 + (hash(n * 7) % 8)::integer]"
_ROLE = "['sound','sound','sound','worn','worn','worn','failed','cause'][1 + (hash(n * 7) % 8)::integer]"
_ACTION = (
    "['reused','reused','reused','reused','replaced_routine','replaced_mate','replaced_failed','replaced_failed']"
    "[1 + (hash(n * 7) % 8)::integer]"
)


def write_large_workshop(folder: Path, jobs: int) -> dict[str, dict[str, int]]:
    """Write the files; returns per record type the number of rows expected as read, quarantined and duplicate."""
    folder.mkdir(parents=True, exist_ok=True)
    connection = duckdb.connect()
    expected: dict[str, dict[str, int]] = {}

    def write(record: str, sql: str, quarantined: int = 0, duplicate: int = 0) -> None:
        connection.execute(f"copy ({sql}) to '{folder / record}.csv' (header, delimiter ',')")
        read = connection.execute(f"select count(*) from ({sql})").fetchall()[0][0]
        expected[record] = {"read": read, "quarantined": quarantined, "duplicate": duplicate}

    units = jobs // 2
    write("family", f"select 'F' || i as family, 'gearbox' as kind from range({FAMILIES}) t(i)")
    write(
        "position",
        f"select 'F' || i as family, 'position ' || p as position, {_COMPONENTS}[1 + p % 10] as component "
        f"from range({FAMILIES}) t(i), range({POSITIONS}) s(p)",
    )
    write(
        "shim_location",
        "select 'F' || i as family, l as location, 'shims' as sits, 'end_float' as quantity, "
        '\'decreases\' as thicker_moves, 0 as "thinnest (mm)", 5 as "thickest (mm)", 0.05 as "step (mm)", '
        f"'yes' as stackable from range({FAMILIES}) t(i), (values ('front'), ('rear')) v(l)",
    )
    write(
        "unit",
        f"select 'U' || i as unit, 'F' || i % {FAMILIES} as family, "
        "date '2010-01-01' + (i % 2000)::integer as in_service_since from range({units}) t(i)".replace(
            "{units}", str(units)
        ),
    )
    bad_jobs = jobs // DEFECT_EVERY
    write(
        "job",
        f"""select 'J' || i as job, 'U' || i % {units} as unit,
          if(hash(i) % 10 < 7, 'full_rebuild', 'part_rebuild') as kind,
          day as opened, day + 2 as torn_down, day + 6 as closed,
          if(i % {DEFECT_EVERY} = 7, day - 3, day + 7) as delivered,
          (40000 + i % {units} * 37 % 200000 + i // {units} * 60000) as "odometer (km)", 'read' as usage_basis,
          ['tow','delivery','highway','mixed'][1 + i % 4] as duty, 12 as warranty_months,
          round(1500 + i % 900, 2) as "invoiced (money)", 'T' || i % 7 as technician,
          if(i % 3 = 0, 'Fleet ' || i % 5, null) as fleet
        from (  -- one unit in ten is back within two years, the others later
          select i, date '2016-01-01' + (hash(i % {units}) % 1800)::integer
            + (i // {units} * if(hash(i % {units} + 3) % 10 = 0, 40 + hash(i) % 600, 1700))::integer as day
          from range({jobs}) t(i))""",
        quarantined=bad_jobs,
    )
    orphans = bad_jobs  # the jobs planted with an impossible order of dates leave all their lines without a job
    n = jobs * POSITIONS
    bad = n // DEFECT_EVERY
    # Row n belongs to job n // POSITIONS; defects are planted on rows of sound jobs and orphans counted apart.
    write(
        "finding",
        f"""select 'J' || n // {POSITIONS} as job, 'position ' || n % {POSITIONS} as position,
          if(n % {DEFECT_EVERY} = 50, 'bad', {_GRADE}) as grade, {_ROLE} as role, {_ACTION} as action,
          if(n % 5 = 0, round(0.6 + (n % 80) / 100.0, 2)::varchar, null) as "ring_gap (mm)"
        from range({n}) t(n)""",
        quarantined=bad
        + orphans * POSITIONS
        - sum(
            1
            for k in range(POSITIONS * DEFECT_EVERY)
            if k % DEFECT_EVERY == 50 and (k // POSITIONS) % DEFECT_EVERY == 7
        )
        * (jobs // DEFECT_EVERY),
    )
    write(
        "measurement",
        f"""select 'J' || i as job, 'end_float' as quantity, ['front','rear'][1 + k % 2] as location,
          if(k < 2, 'as_found', 'as_built') as stage, round(0.02 + ((i * 13 + k) % 90) / 1000.0, 3) as "value (mm)",
          0.02 as "lower (mm)", 0.1 as "upper (mm)"
        from range({jobs}) t(i), range(4) s(k)""",
        quarantined=orphans * 4,
    )
    write(
        "shim",
        f"""select 'J' || i as job, ['front','rear'][1 + k % 2] as location,
          if(k < 2, 'as_found', 'as_built') as stage, round(0.5 + ((i * 7 + k) % 20) * 0.05, 2) as "thickness (mm)",
          1 as pieces from range({jobs}) t(i), range(4) s(k)""",
        quarantined=orphans * 4,
    )
    write(
        "part_line",
        f"""select 'J' || i as job, 'P' || (i + k) % {POSITIONS} * 20 + i * 11 % 20 as part, 'fitted' as movement,
          'position ' || (i + k) % {POSITIONS} as position, 'S' || ((i + k) % {POSITIONS} + i * 11) % 9 as supplier,
          'L' || (i // 20000) as lot, 'new' as origin, 1 as "quantity (pieces)",
          round(5 + (i * 3 + k) % 200, 2) as "unit_cost (money)"
        from range({jobs}) t(i), range(5) s(k)""",
        quarantined=orphans * 5,
    )
    write(
        "labour",
        f"""select 'J' || i as job, ['strip','build','set up'][1 + k] as operation, 'T' || i % 7 as technician,
          round(1 + (i + k) % 7 + 0.25, 2) as "worked (h)" from range({jobs}) t(i), range(3) s(k)""",
        quarantined=orphans * 3,
    )
    connection.close()
    return expected
