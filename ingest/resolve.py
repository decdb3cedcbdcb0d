"""Decide what every row of one record type is: accepted, exact duplicate, superseded or quarantined.

The decision is a function of the rows ever read and of the loads that read them, never of the order of files or
rows, so that it can be taken again at every load: a finding whose job arrives next week is promoted by itself.
"""

from __future__ import annotations

import duckdb

from ingest.corrections import judge_corrections
from ingest.digest import digest_sql, key_sql
from ingest.gather import has_old, links_of
from ingest.record_model import RecordType
from ingest.rules import rules_of

CONFLICT = "another row of the same file or load has the same key and other content"


def tell_sources(connection: duckdb.DuckDBPyConnection) -> None:
    """Create `source_told`: every source with its load and file, and `origin`, which the same content always has.

    Row n of one source and row n of another of the same origin are the same row, read again. Where several entries
    of a mapping read one sheet as one record type, the order of the entries tells them apart.
    """
    connection.execute("""
        create or replace table source_told as
        with placed as (
          select *, row_number() over one_file as place
          from source
          window one_file as (partition by load_id, file_id, content_digest, record order by source_id)
        )
        select source_id, load_id, file_id, record, content_digest, replaced,
          min(source_id) over (partition by content_digest, record, place) as origin
        from placed
    """)


def resolve(connection: duckdb.DuckDBPyConnection, record: RecordType, rows: int) -> int:
    """Create `verdict_<record>` (one row per row of `rows_<record>` that is not accepted) and return how many.

    `rows` is the number of rows to decide. A verdict has the columns source_id, row_number, disposition, field,
    reason, by_source, by_row.
    """
    name = record.name
    connection.execute(f"""
        create table verdict_{name} (source_id integer, row_number bigint, disposition varchar, field varchar,
          reason varchar, by_source integer, by_row bigint)
    """)
    if not rows:
        return 0
    connection.execute(f"""
        insert into verdict_{name}
        select r.source_id, r.row_number, 'superseded', null, 'read again under a mended mapping', null, null
        from rows_{name} as r semi join (select source_id from source_told where replaced) as s using (source_id);
    """)
    _find_faulty(connection, record)
    judge_corrections(connection, record)
    _find_repeated(connection, record)
    _quarantine_what_stands_alone(connection, record)
    if _others_decide(connection):
        _decide_among_others(connection, record)
    connection.execute("drop table repeated; drop table corrected; drop table standing_correction")
    return int(connection.execute(f"select count(*) from verdict_{name}").fetchall()[0][0])


def _others_decide(connection: duckdb.DuckDBPyConnection) -> bool:
    """Return whether there is any row that others decide about; in most loads of most record types there is none."""
    return bool(connection.execute("select exists (from repeated) or exists (from corrected)").fetchall()[0][0])


def _decide_among_others(connection: duckdb.DuckDBPyConnection, record: RecordType) -> None:
    """Decide about the rows that share their key (or content) with another, and rows that were corrected."""
    if _find_candidates(connection, record):
        _tell_repetitions(connection, record)
        _judge_contents(connection, record)
        if record.key:
            _judge_by_key(connection, record)
        if record.key and has_old(connection):
            _put_right_by_key(connection, record)
        connection.execute("drop table content")
    connection.execute("drop table candidate")


def _find_faulty(connection: duckdb.DuckDBPyConnection, record: RecordType) -> None:
    """Collect the rows that cannot be accepted for what they hold, each with its first reason."""
    name = record.name
    kept = _not_replaced(connection)
    connection.execute(f"""
        create table faulty_{name} as
        select source_id, row_number, fault_field as field, fault as reason from rows_{name}
        where broken is not null and fault is not null and {kept}
    """)
    valid = f"(select * from rows_{name} where fault is null)"
    for rule in rules_of(record):
        connection.execute(f"""
            insert into faulty_{name}
            select b.source_id, b.row_number, b.field, b.reason from ({rule.breaches.format(rows=valid)}) as b
            where {kept}
              and not exists (select 1 from faulty_{name} as f
                              where f.source_id = b.source_id and f.row_number = b.row_number)
        """)


def _find_candidates(connection: duckdb.DuckDBPyConnection, record: RecordType) -> int:
    """Create `candidate`: the rows that others decide about, and return how many.

    These are rows that share their key (or content) with another, and rows that were corrected.
    `file_id` is the file in which a row counts: a correction counts in the file of the row that it corrects.
    """
    name = record.name
    entered = "r.entered" if any(f.name == "entered" for f in record.fields) else "null::date"
    connection.execute(f"""
        create temp table chosen as
        select k.kept_row from rows_{name} as k semi join (
          select source_id, row_number from repeated
          union select s.source_id, c.row_number from corrected as c join source_told as s using (origin)
        ) as n on n.source_id = k.source_id and n.row_number = k.row_number;
        create temp table picked as
        select r.source_id, r.row_number, {digest_sql(record, "r")} as digest, {key_sql(record, "r")} as key,
          {entered} as entered
        from rows_{name} as r where kept_row in (select kept_row from chosen);
        create temp table candidate as
        select r.source_id, r.row_number, r.digest, r.key, r.entered, s.load_id, s.file_id as read_in,
          coalesce(k.file_id, s.file_id) as file_id,
          s.content_digest, f.source_id is not null as faulty, f.field, f.reason,
          k.source_id is not null as corrects, t.origin is not null as is_corrected, t.by_source, t.by_row
        from picked as r
        join source_told as s on s.source_id = r.source_id
        left join faulty_{name} as f on f.source_id = r.source_id and f.row_number = r.row_number
        left join standing_correction as k on k.source_id = r.source_id and k.row_number = r.row_number
        left join corrected as t on t.origin = s.origin and t.row_number = r.row_number
        anti join verdict_{name} as v on v.source_id = r.source_id and v.row_number = r.row_number;
        drop table chosen; drop table picked;
    """)
    return int(connection.execute("select count(*) from candidate").fetchall()[0][0])


def _find_repeated(connection: duckdb.DuckDBPyConnection, record: RecordType) -> None:
    """Create `repeated`: the rows that share their key (or content) with another that was not read again.

    Rows of one job are told apart by one bit each first, which is far cheaper than grouping all by their hashes: only
    where two rows of a job fall on the same bit are the hashes compared.
    """
    name, links = record.name, links_of(record).names
    live = f"(select * from rows_{name} where {_not_replaced(connection)})"
    if "job_id" in links:
        by_position = "position_id" in links and record.key == ("job", "position")
        bit = "coalesce(position_id, likeness) % 64" if by_position else "likeness % 64"
        told = f"""
            select job_id from {live} group by job_id
            having bit_count(bit_or(1::ubigint << ({bit})::ubigint)) < count(*) or job_id is null
        """
        live = f"(select * from {live} where job_id is null or job_id in ({told}))"
    connection.execute(f"""
        create temp table repeated as
        select source_id, row_number from {live} qualify count(*) over (partition by likeness) > 1
    """)


def _quarantine_what_stands_alone(connection: duckdb.DuckDBPyConnection, record: RecordType) -> None:
    """Quarantine the rows at fault that share their key (or content) with no other and that no other row corrects."""
    name = record.name
    connection.execute(f"""
        insert into verdict_{name}
        select f.source_id, f.row_number, 'quarantined', f.field, f.reason, null, null
        from faulty_{name} as f join source_told as s on s.source_id = f.source_id
        anti join repeated as r on r.source_id = f.source_id and r.row_number = f.row_number
        anti join corrected as c on c.origin = s.origin and c.row_number = f.row_number
        anti join verdict_{name} as v on v.source_id = f.source_id and v.row_number = f.row_number
    """)


def _not_replaced(connection: duckdb.DuckDBPyConnection) -> str:
    rows = connection.execute("select source_id from source_told where replaced").fetchall()
    return f"source_id not in ({', '.join(str(row[0]) for row in rows)})" if rows else "true"


def _tell_repetitions(connection: duckdb.DuckDBPyConnection, record: RecordType) -> None:
    """Create `content`: one row per different content, its first row; all other rows of it are duplicates.

    Without a key, two equal rows of one file are two contents (first and second occurrence), and the larger number in
    one file holds across files, not the sum.
    """
    occurrence = (
        "1"
        if record.key
        else "row_number() over (partition by digest, file_id order by content_digest, source_id, row_number)"
    )
    connection.execute(f"""
        create temp table placed as
        with counted as (select *, {occurrence} as occurrence from candidate)
        select *, row_number() over same as place, first_value(source_id) over same as first_source,
          first_value(row_number) over same as first_row
        from counted
        window same as (partition by digest, occurrence order by load_id, content_digest, source_id, row_number);
        insert into verdict_{record.name}
        select source_id, row_number, 'duplicate', null, 'the same row is on record', first_source, first_row
        from placed where place > 1;
        create temp table content as
        with told as (
          select digest, occurrence, any_value(key) as key, any_value(entered) as entered, min(load_id) as first_load,
            any_value(first_source) as source_id, any_value(first_row) as row_number, bool_or(faulty) as faulty,
            any_value(field) as field, any_value(reason) as reason, bool_or(is_corrected) as is_corrected,
            bool_or(corrects) as corrects, any_value(by_source) as by_source, any_value(by_row) as by_row
          from placed group by digest, occurrence
        )
        select * replace (is_corrected and not corrects as is_corrected) from told;
        drop table placed;
    """)


def _judge_contents(connection: duckdb.DuckDBPyConnection, record: RecordType) -> None:
    """Set aside what was corrected, and quarantine what is at fault, each content once."""
    connection.execute(f"""
        insert into verdict_{record.name}
        select source_id, row_number, 'superseded', null, 'put right by a later row', by_source, by_row
        from content where is_corrected
        union all
        select source_id, row_number, 'quarantined', field, reason, null, null
        from content where faulty and not is_corrected
    """)


def _judge_by_key(connection: duckdb.DuckDBPyConnection, record: RecordType) -> None:
    """Let the latest content of a key stand: by the day it was entered, else by the load that first read it.

    Contents of one key in one file contradict each other, and so do those of one load unless the days on which they
    were entered tell the later; a content that only ever stood in contradiction is quarantined, until a later load
    settles what holds.
    """
    connection.execute(f"""
        create temp table contest as
        with sound as (  -- one row per reading of a content
          select c.*, t.source_id as told_source, t.row_number as told_row, t.first_load
          from candidate as c join content as t using (digest)
          where not t.faulty and not t.is_corrected
        ),
        told as (
          select *, min(digest) over one_file <> max(digest) over one_file
            or min(digest) over one_day <> max(digest) over one_day
            or (count(*) over one_load > count(entered) over one_load
                and min(digest) over one_load <> max(digest) over one_load) as conflicted
          from sound
          window one_file as (partition by key, read_in), one_day as (partition by key, load_id, entered),
            one_load as (partition by key, load_id)
        )
        select key, digest, told_source as source_id, told_row as row_number, any_value(entered) as entered,
          any_value(first_load) as first_load, min(load_id) filter (not conflicted) as settled_by
        from told group by key, digest, told_source, told_row;
        insert into verdict_{record.name}
        with ranked as (
          select *, max(settled_by) over (partition by key) as latest_settled,
            row_number() over (partition by key order by settled_by is null, entered desc nulls last,
                               settled_by desc, digest) as place
          from contest
        ),
        winner as (select * from ranked where place = 1 and settled_by is not null),
        lost as (
          select r.source_id, r.row_number, w.source_id as by_source, w.row_number as by_row,
            r.settled_by is not null or r.latest_settled > r.first_load as is_settled
          from ranked as r left join winner as w using (key)
          where r.place > 1 or r.settled_by is null
        ),
        beside as (  -- one row per content that only ever stood in contradiction: the first other one of its key
          select l.source_id, l.row_number, min(struct_pack(source_id := o.source_id, row_number := o.row_number)) as other
          from lost as l join contest as c using (source_id, row_number)
          join contest as o on o.key = c.key and o.digest <> c.digest
          where l.is_settled is not true group by all
        ),
        told as (
          select l.*, coalesce('the same key with other content stands in ' || parse_filename(s.file)
            || coalesce(', sheet ' || s.sheet, '') || ', row ' || b.other.row_number, '{CONFLICT}') as conflict
          from lost as l left join beside as b using (source_id, row_number)
          left join source as s on s.source_id = b.other.source_id
        )
        select source_id, row_number, if(is_settled, 'superseded', 'quarantined'),
          if(is_settled, null, '{record.key[-1]}'), if(is_settled, 'a later row has the same key', conflict),
          by_source, by_row
        from told;
        drop table contest;
    """)


def _put_right_by_key(connection: duckdb.DuckDBPyConnection, record: RecordType) -> None:
    """Let an accepted row of a later load supersede the row at fault that has its key."""
    name = record.name
    required = [f.column for f in record.fields if f.required and f.name in record.key]
    filled = " and ".join(f"r.{column} is not null" for column in required) or "true"
    connection.execute(f"""
        create temp table waiting as
        select r.source_id, r.row_number, {key_sql(record, "r")} as key, r.likeness, c.first_load
        from rows_{name} as r join content as c using (source_id, row_number)
        where c.faulty and not c.is_corrected and {filled};
        create temp table put_right as
        select w.source_id, w.row_number, arg_max(r.source_id, s.load_id) as by_source,
          arg_max(r.row_number, s.load_id) as by_row
        from waiting as w
        join rows_{name} as r on r.likeness = w.likeness and {key_sql(record, "r")} = w.key
        join source_told as s on s.source_id = r.source_id and s.load_id > w.first_load
        anti join verdict_{name} as own on own.source_id = r.source_id and own.row_number = r.row_number
        group by w.source_id, w.row_number;
        update verdict_{name} as v
        set disposition = 'superseded', field = null, reason = 'put right by a later row', by_source = p.by_source,
          by_row = p.by_row
        from put_right as p
        where p.source_id = v.source_id and p.row_number = v.row_number and v.disposition = 'quarantined';
        drop table waiting; drop table put_right;
    """)
