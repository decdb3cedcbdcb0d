"""Decide what every row of one record type is: accepted, exact duplicate, superseded or quarantined.

The decision is a function of the rows ever read and of the loads that read them, never of the order of files or
rows, so that it can be taken again at every load: a finding whose job arrives next week is promoted by itself.
"""

from __future__ import annotations

import duckdb

from ingest.digest import digest_sql
from ingest.record_model import RecordType
from ingest.rules import rules_of

CONFLICT = "another row of the same file or load has the same key and other content"


def resolve(connection: duckdb.DuckDBPyConnection, record: RecordType, typed_tables: list[str]) -> None:
    """Create `rows_<record>` (every row ever read) and `verdict_<record>` (one row per row that is not accepted).

    A verdict has the columns source_id, row_number, disposition, field, reason, by_source, by_row.
    """
    name = record.name
    _gather(connection, record, typed_tables)
    connection.execute(f"""
        create table verdict_{name} (source_id integer, row_number bigint, disposition varchar, field varchar,
          reason varchar, by_source integer, by_row bigint);
        insert into verdict_{name}
        select r.source_id, r.row_number, 'superseded', null, 'read again under a mended mapping', null, null
        from rows_{name} as r semi join (select source_id from source where replaced) as s using (source_id);
    """)
    _find_faulty(connection, record)
    _judge_faulty(connection, record)
    if record.key:
        _judge_by_key(connection, record)
    else:
        _judge_by_occurrence(connection, record)
    _put_right(connection, record)


def has_old(connection: duckdb.DuckDBPyConnection) -> bool:
    """Return whether an earlier version is attached as `old`."""
    return bool(
        connection.execute("select count(*) from duckdb_databases() where database_name = 'old'").fetchall()[0][0]
    )


def _gather(connection: duckdb.DuckDBPyConnection, record: RecordType, typed_tables: list[str]) -> None:
    name = record.name
    columns = ", ".join(["source_id", "row_number", "corrects", *(f.column for f in record.fields)])
    parts = [
        f"select {columns}, digest, fault_field, fault, original, null::varchar as was from {t}" for t in typed_tables
    ]
    if has_old(connection):
        no_fault = ", ".join(f"null::varchar as {column}" for column in ("fault_field", "fault", "original"))
        sound = f"(select *, {no_fault} from old.{name})"
        told = f"{columns}, {digest_sql(record)} as digest, fault_field, fault, original"
        parts.append(f"select {told}, 'accepted' as was from {sound} where not from_habit")
        parts.append(f"select {told}, disposition as was from old.held_{name}")
    if not parts:
        typed = ", ".join(f"null::{f.sql_type} as {f.column}" for f in record.fields)
        parts = [
            f"select null::integer as source_id, null::bigint as row_number, null::varchar as corrects, {typed}, "
            "null::uhugeint as digest, null::varchar as fault_field, null::varchar as fault, "
            "null::varchar as original, null::varchar as was where false"
        ]
    connection.execute(f"create view rows_{name} as {' union all '.join(parts)}")


def _find_faulty(connection: duckdb.DuckDBPyConnection, record: RecordType) -> None:
    """Collect the rows that cannot be accepted for what they hold, each with its first reason."""
    name = record.name
    connection.execute(f"""
        create table faulty_{name} as
        select source_id, row_number, fault_field as field, fault as reason from rows_{name}
        where fault is not null and source_id not in (select source_id from source where replaced)
    """)
    valid = f"(select * from rows_{name} where fault is null)"
    for rule in rules_of(record):
        connection.execute(f"""
            insert into faulty_{name}
            select b.source_id, b.row_number, b.field, b.reason from ({rule.breaches.format(rows=valid)}) as b
            where b.source_id not in (select source_id from source where replaced)
              and not exists (select 1 from faulty_{name} as f
                              where f.source_id = b.source_id and f.row_number = b.row_number)
        """)


def _judge_faulty(connection: duckdb.DuckDBPyConnection, record: RecordType) -> None:
    """Quarantine each faulty content once; its repetitions are duplicates."""
    name = record.name
    occurrence = (
        "1"
        if record.key
        else "row_number() over (partition by r.digest, s.file_id order by s.content_digest, r.source_id, r.row_number)"
    )
    connection.execute(f"""
        insert into verdict_{name}
        with appearance as (
          select r.source_id, r.row_number, r.digest, f.field, f.reason, s.load_id, s.content_digest,
            {occurrence} as occurrence
          from faulty_{name} as f
          join rows_{name} as r using (source_id, row_number)
          join source as s using (source_id)
        ),
        ranked as (
          select *, row_number() over same as place, first_value(source_id) over same as by_source,
            first_value(row_number) over same as by_row
          from appearance
          window same as (partition by digest, occurrence order by load_id, content_digest, source_id, row_number)
        )
        select source_id, row_number, if(place = 1, 'quarantined', 'duplicate'), field, reason,
          if(place = 1, null, by_source), if(place = 1, null, by_row)
        from ranked
    """)


def _sound(record: RecordType) -> str:
    return (
        f"(select r.* from rows_{record.name} as r anti join faulty_{record.name} as f using (source_id, row_number) "
        "where r.source_id not in (select source_id from source where replaced))"
    )


def _judge_by_occurrence(connection: duckdb.DuckDBPyConnection, record: RecordType) -> None:
    """Let the larger number of equal rows in one file hold across files, not the sum."""
    name = record.name
    connection.execute(f"""
        create temp table repeated as select digest from {_sound(record)} group by digest having count(*) > 1;
        insert into verdict_{name}
        with appearance as (
          select r.source_id, r.row_number, r.digest, s.load_id, s.content_digest,
            row_number() over (partition by r.digest, s.file_id
                               order by s.content_digest, r.source_id, r.row_number) as occurrence
          from {_sound(record)} as r semi join repeated using (digest) join source as s using (source_id)
        ),
        ranked as (
          select *, row_number() over same as place, first_value(source_id) over same as by_source,
            first_value(row_number) over same as by_row
          from appearance
          window same as (partition by digest, occurrence order by load_id, content_digest, source_id, row_number)
        )
        select source_id, row_number, 'duplicate', null, 'the same row is on record', by_source, by_row
        from ranked where place > 1;
        drop table repeated;
    """)


def _judge_by_key(connection: duckdb.DuckDBPyConnection, record: RecordType) -> None:
    """Let the latest content of a key stand: by the day it was entered, else by the load that first read it."""
    name = record.name
    parts = [f"coalesce(r.{record.field_named(k).column}::varchar, '')" for k in record.key]
    key = f"concat_ws(chr(31), {', '.join(parts)})"
    entered = "r.entered" if any(f.name == "entered" for f in record.fields) else "null::date"
    connection.execute(f"""
        create temp table repeated as
        select hash({key}) as key_hash from {_sound(record)} as r group by 1 having count(*) > 1;
        create temp table appearance as
        with told as (
          select r.source_id, r.row_number, r.digest, {key} as key, {entered} as entered, s.load_id, s.file_id,
            s.content_digest
          from {_sound(record)} as r join source as s using (source_id)
          where hash({key}) in (select key_hash from repeated)
        )
        select *, min(digest) over one_file <> max(digest) over one_file
          or min(digest) over one_day <> max(digest) over one_day as conflicted
        from told
        window one_file as (partition by key, file_id), one_day as (partition by key, load_id, entered);
        create temp table content as
        with told as (
          select key, digest, any_value(entered) as entered, min(load_id) filter (not conflicted) as settled_by,
            max(load_id) as last_load
          from appearance group by key, digest
        )
        select *, row_number() over (partition by key order by settled_by is null, entered desc nulls last,
                                     settled_by desc nulls last) = 1 and settled_by is not null as wins,
          max(settled_by) over (partition by key) as latest_settled
        from told;
        insert into verdict_{name}
        with ranked as (
          select a.*, c.wins, c.settled_by, c.last_load, c.latest_settled,
            row_number() over same as place, first_value(a.source_id) over same as by_source,
            first_value(a.row_number) over same as by_row
          from appearance as a join content as c using (key, digest)
          window same as (partition by a.key, a.digest
                          order by a.conflicted, a.load_id, a.content_digest, a.source_id, a.row_number)
        ),
        winner as (select key, source_id, row_number from ranked where wins and place = 1)
        select r.source_id, r.row_number,
          case when r.place > 1 then 'duplicate'
            when r.settled_by is not null or w.key is not null and r.latest_settled > r.last_load then 'superseded'
            else 'quarantined' end as disposition,
          case when r.place = 1 and r.settled_by is null then '{record.key[-1]}' end,
          case when r.place > 1 then 'the same row is on record'
            when r.settled_by is not null or w.key is not null and r.latest_settled > r.last_load
              then 'a later row has the same key'
            else '{CONFLICT}' end,
          if(r.place > 1, r.by_source, w.source_id), if(r.place > 1, r.by_row, w.row_number)
        from ranked as r left join winner as w on w.key = r.key
        where not (r.wins and r.place = 1);
        drop table repeated; drop table appearance; drop table content;
    """)


def _put_right(connection: duckdb.DuckDBPyConnection, record: RecordType) -> None:
    """Let an accepted row supersede the quarantined row that it corrects: named by it, or with its key and earlier."""
    name = record.name
    connection.execute(f"""
        create temp table put_right as
        select v.source_id, v.row_number, r.source_id as by_source, r.row_number as by_row
        from rows_{name} as r
        join verdict_{name} as v
          on r.corrects = 'S' || v.source_id || ':' || v.row_number and v.disposition in ('quarantined', 'duplicate')
        anti join verdict_{name} as own on own.source_id = r.source_id and own.row_number = r.row_number
        where r.corrects is not null;
    """)
    if record.key and has_old(connection):
        same = " and ".join(
            f"g.{c} is not distinct from r.{c}" for c in (record.field_named(k).column for k in record.key)
        )
        filled = " and ".join(f"r.{record.field_named(k).column} is not null" for k in record.key[:1])
        connection.execute(f"""
            create temp table waiting as
            select r.*, s.load_id from rows_{name} as r
            join (select source_id, row_number from verdict_{name} where disposition = 'quarantined') as v
              using (source_id, row_number)
            join source as s using (source_id) where {filled};
            insert into put_right
            select r.source_id, r.row_number, min(g.source_id), min(g.row_number)
            from waiting as r join rows_{name} as g on {same}
            join source as s on s.source_id = g.source_id
            anti join verdict_{name} as own on own.source_id = g.source_id and own.row_number = g.row_number
            where s.load_id > r.load_id
            group by r.source_id, r.row_number;
            drop table waiting;
        """)
    connection.execute(f"""
        update verdict_{name} as v
        set disposition = 'superseded', reason = 'put right by a later row', by_source = p.by_source, by_row = p.by_row
        from put_right as p where p.source_id = v.source_id and p.row_number = v.row_number;
        drop table put_right;
    """)
