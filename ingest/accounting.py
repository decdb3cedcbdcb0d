"""Account for every row ever read: what it is now, and what happened to it."""

from __future__ import annotations

import duckdb

from ingest.records import RECORDS
from ingest.resolve import has_old

DISPOSITIONS = ("accepted", "duplicate", "superseded", "quarantined")


def count_standing(connection: duckdb.DuckDBPyConnection) -> None:
    """Create `new.standing`: one row per source with the rows read and what they are now.

    Raises AssertionError where read is not the sum of the four dispositions: then nothing may be published.
    """
    parts = []
    for record in RECORDS:
        parts.append(
            f"select source_id, 'accepted' as disposition, count(*) as n from new.{record.name} "
            "where not from_habit group by source_id"
        )
        parts.append(f"select source_id, disposition, count(*) from new.held_{record.name} group by all")
    sums = ", ".join(f"coalesce(sum(d.n) filter (d.disposition = '{x}'), 0)::bigint as {x}" for x in DISPOSITIONS)
    connection.execute(f"""
        create table new.standing as
        select s.source_id, s.load_id, s.file, s.sheet, s.record, s.rows_read as read, {sums}
        from source as s left join ({" union all ".join(parts)}) as d using (source_id)
        group by all
        order by s.source_id
    """)
    odd = connection.execute(
        "select file, sheet, record from new.standing where read <> accepted + duplicate + superseded + quarantined"
    ).fetchall()
    if odd:
        raise AssertionError(f"rows of {odd} are not accounted for")


def write_row_events(connection: duckdb.DuckDBPyConnection, load_id: int) -> None:
    """Append to `new.row_event`: what this load's rows became (counted), and each older row that changed (singly)."""
    connection.execute("""
        create table new.row_event (load_id integer, record varchar, source_id integer, row_number bigint,
          was varchar, disposition varchar, reason varchar, rows bigint)
    """)
    if has_old(connection):
        connection.execute("insert into new.row_event select * from old.row_event")
    for record in RECORDS:
        name = record.name
        connection.execute(f"""
            insert into new.row_event
            with now as (
              select source_id, row_number, 'accepted' as disposition, null as reason
              from new.{name} where not from_habit
              union all
              select source_id, row_number, disposition, reason from new.held_{name}
            )
            select {load_id}, '{name}', n.source_id, null, null, n.disposition, null, count(*)
            from now as n join source as s using (source_id) where s.load_id = {load_id}
            group by n.source_id, n.disposition
            union all
            select {load_id}, '{name}', r.source_id, r.row_number, r.was, n.disposition, n.reason, 1
            from rows_{name} as r join now as n using (source_id, row_number)
            where r.was is not null and r.was <> n.disposition
        """)
