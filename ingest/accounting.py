"""Account for every row ever read: what it is now, and what happened to it."""

from __future__ import annotations

import duckdb

from ingest.gather import columns_before, has_old
from ingest.record_model import RecordType
from ingest.records import RECORDS

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


def begin_row_events(connection: duckdb.DuckDBPyConnection) -> None:
    """Create `new.row_event` with what earlier loads wrote."""
    connection.execute("""
        create table new.row_event (load_id integer, record varchar, source_id integer, row_number bigint,
          was varchar, disposition varchar, reason varchar, rows bigint)
    """)
    if has_old(connection):
        connection.execute("insert into new.row_event select * from old.row_event")


def write_row_events(connection: duckdb.DuckDBPyConnection, record: RecordType, load_id: int) -> None:
    """Append what this load's rows of one record type became (counted), and each older row that changed (singly)."""
    name = record.name
    connection.execute(f"""
        insert into new.row_event
        with now as (
          select source_id, 'accepted' as disposition, count(*) as n from new.{name} where not from_habit group by all
          union all
          select source_id, disposition, count(*) from new.held_{name} group by all
        )
        select {load_id}, '{name}', source_id, null, null, disposition, null, n
        from now join source using (source_id) where load_id = {load_id}
    """)
    if columns_before(connection, name):
        connection.execute(f"""
            insert into new.row_event
            select {load_id}, '{name}', v.source_id, v.row_number, 'accepted', v.disposition, v.reason, 1
            from verdict_{name} as v semi join old.{name} as o
              on o.source_id = v.source_id and o.row_number = v.row_number and not o.from_habit
            union all
            select {load_id}, '{name}', h.source_id, h.row_number, h.disposition,
              coalesce(v.disposition, 'accepted'), v.reason, 1
            from old.held_{name} as h left join verdict_{name} as v using (source_id, row_number)
            where h.disposition <> coalesce(v.disposition, 'accepted')
        """)


def older_rows_changed(connection: duckdb.DuckDBPyConnection, load_id: int) -> bool:
    """Return whether this load made any row of an earlier load something else than it was."""
    return bool(
        connection.execute(
            f"select count(*) from new.row_event where load_id = {load_id} and was is not null"
        ).fetchall()[0][0]
    )
