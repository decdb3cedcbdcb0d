"""Add what a declared habit says: in a full strip, positions not listed were inspected and sound."""

from __future__ import annotations

import duckdb

FULL_STRIP_LISTS_ONLY_BAD = "full_strip_lists_only_bad"
HABITS: dict[str, str] = {
    FULL_STRIP_LISTS_ONLY_BAD: "full strip: positions not listed were inspected and sound",
}


def add_implied_findings(connection: duckdb.DuckDBPyConnection) -> None:
    """Add to `new.finding` the sound findings that the habit implies, marked `from_habit`.

    A full rebuild is covered where it was opened within the days spanned by the jobs that the habit's sheet lists,
    so that a strip with nothing wrong counts as well, and where no other sheet lists its findings.
    """
    connection.execute("""
        insert into new.finding by name
        with habit_sheet as (  -- one row per findings sheet with the habit
          select source_id from source where habit and record = 'finding' and not replaced
        ),
        span as (  -- one row per sheet: the days it covers
          select n.source_id, min(j.opened) as first_day, max(j.opened) as last_day
          from new.finding as n join habit_sheet using (source_id) join new.job as j using (job)
          group by n.source_id
        ),
        elsewhere as (  -- one row per job whose findings another sheet lists
          select distinct job from new.finding where source_id not in (select source_id from habit_sheet)
        ),
        covered as (  -- one row per full rebuild that a sheet covers
          select j.job, j.job_id, j.unit_id, j.family, j.torn_down, j.closed, j.delivered, j.opened, min(s.source_id) as source_id
          from new.job as j
          join span as s on j.opened between s.first_day and s.last_day
          where j.kind = 'full_rebuild' and j.torn_down is not null and j.job not in (select job from elsewhere)
          group by all
        )
        select c.job, c.job_id, c.unit_id, p.position, p.position_id, 'sound' as role, false as failed, c.source_id, true as from_habit,
          coalesce(c.torn_down, c.closed, c.delivered, c.opened) as known_on,
          coalesce(c.closed, c.delivered, c.torn_down, c.opened) as settled_on
        from covered as c join new.position as p using (family)
        anti join new.finding as n on n.job = c.job and n.position = p.position
    """)
