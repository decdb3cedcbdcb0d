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
    so that a strip with nothing wrong counts as well, and where no other sheet lists its findings. It is known to be
    covered once the sheet lists a job opened before (or with) it and one opened after (or with) it.
    """
    connection.execute("""
        insert into new.finding by name
        with habit_sheet as (  -- one row per findings sheet with the habit
          select source_id from source where habit and record = 'finding' and not replaced
        ),
        listed as (  -- one row per sheet and day: since when the sheet is known to reach it, and to pass it
          select n.source_id, j.opened,
            min(min(n.known_on)) over (partition by n.source_id order by j.opened) as reached_on,
            min(min(n.known_on)) over (partition by n.source_id order by j.opened desc) as passed_on
          from new.finding as n join habit_sheet using (source_id) join new.job as j using (job_id)
          group by n.source_id, j.opened
        ),
        elsewhere as (  -- one row per job whose findings another sheet lists
          select distinct job_id from new.finding where source_id not in (select source_id from habit_sheet)
        ),
        stripped as (  -- one row per full rebuild
          select j.*, coalesce(j.torn_down, j.closed, j.delivered, j.opened) as stripped_on,
            coalesce(j.closed, j.delivered, j.torn_down, j.opened) as put_together_on
          from new.job as j anti join elsewhere using (job_id)
          where j.kind = 'full_rebuild' and j.torn_down is not null
        ),
        covering as (  -- one row per full rebuild and sheet that covers it
          select s.*, f.source_id as sheet, greatest(s.stripped_on, f.reached_on, t.passed_on) as covered_on
          from stripped as s cross join habit_sheet as h
          asof join listed as f on f.source_id = h.source_id and f.opened <= s.opened
          asof join listed as t on t.source_id = h.source_id and t.opened >= s.opened
        ),
        covered as (  -- one row per full rebuild that a sheet covers
          select job, job_id, unit_id, family, put_together_on, min(covered_on) as covered_on,
            arg_min(sheet, struct_pack(day := covered_on, sheet := sheet)) as sheet
          from covering group by all
        )
        select c.job, c.job_id, c.unit_id, p.position, p.position_id, 'sound' as role, false as failed,
          c.sheet as source_id, true as from_habit, c.covered_on as known_on,
          greatest(c.covered_on, c.put_together_on) as settled_on
        from covered as c join new.position as p using (family)
        anti join new.finding as n on n.job_id = c.job_id and n.position_id = p.position_id
    """)
