"""Let a row that names the row to put right take its place, once, whatever becomes of either later.

A row corrects another where its `corrects` column names it ("S12:45": row 45 of source 12). Corrections of
corrections lead back to one root, and of all that was ever said about a root one content stands: a sound one before
one at fault, then the one that was read first by the latest load, as with rows of one key.
"""

from __future__ import annotations

import duckdb

from ingest.digest import digest_sql
from ingest.record_model import RecordType

CONTRADICTING = "another row of the same load corrects the same row to other content"


def judge_corrections(connection: duckdb.DuckDBPyConnection, record: RecordType) -> None:
    """Create `corrected` (rows whose place another took) and `standing_correction`, and judge the other corrections.

    `corrected`: origin, row_number, by_source, by_row. `standing_correction`: source_id, row_number, file_id (of the
    root). A reference that names no row of an earlier load corrects nothing, and its row counts as any other.
    """
    name = record.name
    connection.execute(f"""
        create temp table correction as
        select r.source_id, r.row_number, o.source_id as target_source,
          try_cast(regexp_extract(r.corrects, '^S(\\d+):(\\d+)$', 2) as bigint) as target_row
        from rows_{name} as r
        join source_told as s using (source_id)
        join source_told as o on o.source_id = try_cast(regexp_extract(r.corrects, '^S(\\d+):(\\d+)$', 1) as integer)
          and o.load_id < s.load_id and o.record = s.record
        where r.corrects is not null and not s.replaced;
        create temp table standing_correction (source_id integer, row_number bigint, file_id integer);
        create temp table corrected (origin integer, row_number bigint, by_source integer, by_row bigint);
    """)
    if connection.execute("select count(*) from correction").fetchall()[0][0]:
        _trace_to_roots(connection, record)
        _contest(connection, record)
        connection.execute("drop table said; drop table contest")
    connection.execute("drop table correction")


def _trace_to_roots(connection: duckdb.DuckDBPyConnection, record: RecordType) -> None:
    """Create `said`: one row per row that says something about a root, the root itself included."""
    name = record.name
    connection.execute(f"""
        create temp table said as
        with recursive traced as (  -- one row per correction and step back towards its root
          select source_id, row_number, target_source, target_row, 1 as steps from correction
          union all
          select t.source_id, t.row_number, c.target_source, c.target_row, t.steps + 1
          from traced as t join correction as c on c.source_id = t.target_source and c.row_number = t.target_row
        ),
        root as (
          select t.source_id, t.row_number, o.origin, t.target_row as root_row, o.file_id
          from traced as t join source_told as o on o.source_id = t.target_source
          qualify row_number() over (partition by t.source_id, t.row_number order by t.steps desc) = 1
        ),
        teller as (
          select source_id, row_number, origin, root_row, file_id, true as corrects from root
          union all
          select distinct s.source_id, k.row_number, r.origin, r.root_row, null, false
          from root as r join source_told as s on s.origin = r.origin and not s.replaced
          join rows_{name} as k on k.source_id = s.source_id and k.row_number = r.root_row
        )
        select t.*, s.load_id, s.content_digest, {digest_sql(record, "r")} as digest,
          f.source_id is not null as faulty
        from teller as t join rows_{name} as r using (source_id, row_number)
        join source_told as s on s.source_id = t.source_id
        left join faulty_{name} as f on f.source_id = t.source_id and f.row_number = t.row_number
    """)


def _contest(connection: duckdb.DuckDBPyConnection, record: RecordType) -> None:
    """Find the content that stands for each root, and judge what lost against it."""
    connection.execute(f"""
        create temp table contest as
        with told as (
          select *, min(digest) over one_load <> max(digest) over one_load as conflicted
          from said window one_load as (partition by origin, root_row, load_id)
        ),
        content as (
          select origin, root_row, digest, bool_or(faulty) as faulty, bool_or(not corrects) as is_root,
            min(load_id) as first_load, min(load_id) filter (not conflicted) as settled_by
          from told group by all
        )
        select *, row_number() over (partition by origin, root_row order by settled_by is null, faulty, settled_by desc)
          = 1 and settled_by is not null as stands, max(settled_by) over (partition by origin, root_row) as latest
        from content;
        create temp table teller as
        select t.*, c.faulty as content_faulty, c.is_root, c.first_load, c.settled_by, c.stands, c.latest,
          row_number() over (partition by t.origin, t.root_row, t.digest, t.corrects
                             order by t.load_id, t.content_digest, t.source_id, t.row_number) as place
        from said as t join contest as c using (origin, root_row, digest);
        create temp table winner as
        select origin, root_row, source_id, row_number, file_id, is_root, settled_by from teller
        where stands and corrects and place = 1;
        insert into standing_correction select source_id, row_number, file_id from winner where not is_root;
        insert into corrected
        select t.origin, t.root_row, w.source_id, w.row_number
        from winner as w join (select distinct origin, root_row from said where not corrects) as t
          on t.origin = w.origin and t.root_row = w.root_row
        where not w.is_root;
        insert into verdict_{record.name}
        with first_row as (  -- one row per content
          select origin, root_row, digest, source_id, row_number from teller where corrects and place = 1
        ),
        judged as (
          select t.source_id, t.row_number, f.source_id as first_source, f.row_number as first_row,
            w.source_id as by_source, w.row_number as by_row,
            case when t.is_root then null  -- nothing was changed: a row like any other
              when t.place > 1 then 'duplicate'
              when t.stands then null
              when t.settled_by is not null and not t.content_faulty then 'superseded'
              when w.settled_by > t.first_load then 'superseded'
              when not t.content_faulty then 'quarantined' end as disposition
          from teller as t join first_row as f using (origin, root_row, digest)
          left join winner as w on w.origin = t.origin and w.root_row = t.root_row
          where t.corrects
        )
        select source_id, row_number, disposition, if(disposition = 'quarantined', 'corrects', null),
          case disposition when 'duplicate' then 'the same row is on record'
            when 'superseded' then 'a later row corrects the same row' else '{CONTRADICTING}' end,
          if(disposition = 'duplicate', first_source, by_source), if(disposition = 'duplicate', first_row, by_row)
        from judged where disposition is not null;
        drop table teller; drop table winner;
    """)
