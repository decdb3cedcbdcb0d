"""Write a large invented workshop whose units' own distances are known, for the speed of lives."""

from __future__ import annotations

from pathlib import Path

import duckdb

FAMILIES, POSITIONS = 12, 30
_COMPONENTS = "['synchroniser_ring','slider','bearing','gear','fork','seal','hub','shaft','needle_bearing','detent']"


def write_aged_workshop(folder: Path, findings: int) -> None:
    """Write families, positions, units, jobs and findings as CSV: two full strips of every unit, from new.

    Weibull lives of shape 2 to 3.5; what is found failed at the first strip is renewed, so that the second finds parts
    of two ages.
    """
    folder.mkdir(parents=True, exist_ok=True)
    connection = duckdb.connect()
    units = findings // POSITIONS // 2

    def write(record: str, sql: str) -> None:
        connection.execute(f"copy ({sql}) to '{folder / record}.csv' (header, delimiter ',')")

    write("family", f"select 'F' || i as family, 'gearbox' as kind from range({FAMILIES}) t(i)")
    write(
        "position",
        f"select 'F' || i as family, 'position ' || p as position, {_COMPONENTS}[1 + p % 10] as component "
        f"from range({FAMILIES}) t(i), range({POSITIONS}) s(p)",
    )
    write(
        "unit",
        f"select 'U' || i as unit, 'F' || i % {FAMILIES} as family, date '2008-01-01' as in_service_since, "
        f"'yes' as lives_known_from_new from range({units}) t(i)",
    )
    connection.execute(
        f"""create table visit as select i, v, 40 + hash(i * 7 + v * 31) % 120000 / 1000.0 * (1 + v) as thousand_km
        from range({units}) t(i), range(2) s(v)"""
    )
    write(
        "job",
        """select 'J' || i || '-' || v as job, 'U' || i as unit, 'full_rebuild' as kind,
          date '2015-01-01' + (v * 1500 + i % 1000)::integer as opened,
          date '2015-01-02' + (v * 1500 + i % 1000)::integer as torn_down,
          date '2015-01-06' + (v * 1500 + i % 1000)::integer as closed,
          round((thousand_km + v * 160) * 1000)::bigint as "unit_distance (km)", 'read' as usage_basis,
          ['tow','delivery','highway','mixed'][1 + i % 4] as duty from visit order by i, v""",
    )
    connection.execute(
        f"""create table life as select i, p,
          (90 + 10 * (p % 7) + 5 * (i % {FAMILIES})) * pow(-ln(greatest((hash(i * 1000 + p) % 1000003) / 1000003.0, 1e-7)),
            1 / (2 + (p % 4) * 0.5)) as first_life,
          (90 + 10 * (p % 7) + 5 * (i % {FAMILIES})) * pow(-ln(greatest((hash(i * 3000 + p) % 1000003) / 1000003.0, 1e-7)),
            1 / (2 + (p % 4) * 0.5)) as second_life
        from range({units}) t(i), range({POSITIONS}) s(p)"""
    )
    write(
        "finding",
        """with seen as (
          select l.i, l.p, a.thousand_km as first_km, b.thousand_km + 160 as second_km, first_life, second_life
          from life as l join visit as a on a.i = l.i and a.v = 0 join visit as b on b.i = l.i and b.v = 1
        )
        select 'J' || i || '-0' as job, 'position ' || p as position, if(first_life <= first_km, 3, 1) as grade,
          if(first_life <= first_km, 'failed', 'sound') as role,
          if(first_life <= first_km, 'replaced_failed', 'reused') as action from seen
        union all
        select 'J' || i || '-1', 'position ' || p,
          if(if(first_life <= first_km, first_km + second_life, first_life) <= second_km, 3, 1),
          if(if(first_life <= first_km, first_km + second_life, first_life) <= second_km, 'failed', 'sound'),
          if(if(first_life <= first_km, first_km + second_life, first_life) <= second_km, 'replaced_failed', 'reused')
        from seen""",
    )
    connection.close()
