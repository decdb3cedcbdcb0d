"""Write the accepted rows of a record type as its published table, and keep every other row apart."""

from __future__ import annotations

from collections.abc import Callable

import duckdb

from ingest.field_sql import quoted
from ingest.gather import is_gathered_in_place, links_of
from ingest.record_model import Field, Kind, RecordType
from ingest.units_of_measure import Dimension, steps_per_unit
from ingest.vocabularies import QUANTITIES

# Numbers for joining and grouping in place of texts; they hold within one version only.
_NUMBERED: dict[str, str] = {
    "position": "row_number() over (order by r.family, r.position)::integer as position_id",
    "unit": "row_number() over (order by r.unit)::integer as unit_id",
    "job": "n.job_id",
}


def accept(connection: duckdb.DuckDBPyConnection, record: RecordType, verdicts: int) -> None:
    """Create `new.<record>` (accepted rows with their clocks) and `new.held_<record>` (all others, with the reason).

    `verdicts` is the number of rows that are not accepted.
    """
    name = record.name
    fields = ", ".join(f"r.{field.column}" for field in record.fields)
    connection.execute(f"""
        create temp table not_accepted as
        select r.kept_row from rows_{name} as r
        semi join verdict_{name} as v on v.source_id = r.source_id and v.row_number = r.row_number;
        create table new.held_{name} as
        select r.source_id, r.row_number, r.corrects, {fields}, r.fault_field, r.fault,
          coalesce(r.original, o.original) as original, v.disposition, v.field, v.reason, v.by_source, v.by_row
        from rows_{name} as r join verdict_{name} as v using (source_id, row_number)
        left join original_{name} as o using (source_id, row_number)
        where r.kept_row in (select kept_row from not_accepted);
    """)
    if is_gathered_in_place(connection, record):
        if verdicts:
            connection.execute(f"delete from new.{name} where rowid in (select kept_row from not_accepted)")
        connection.execute(f"alter table new.{name} drop column broken")
    else:
        _write_accepted(connection, record, fields)
    connection.execute("drop table not_accepted; drop table if exists job_number")


def _write_accepted(connection: duckdb.DuckDBPyConnection, record: RecordType, fields: str) -> None:
    """Create `new.<record>` from the rows that were gathered elsewhere."""
    name = record.name
    chosen = "anti join not_accepted as v on v.kept_row = r.kept_row"
    if name == "job":  # sorting the whole width of the table to number it would cost more than a join
        connection.execute(f"""
            create temp table job_number as
            select r.kept_row, row_number() over (order by r.job)::integer as job_id from rows_job as r {chosen}
        """)
        chosen = "join job_number as n on n.kept_row = r.kept_row"
    beside = [*([_NUMBERED[name]] if name in _NUMBERED else []), *(f"r.{link}" for link in links_of(record).names)]
    connection.execute(f"""
        create table new.{name} as
        select {", ".join([fields, *beside])}, r.known_on, r.settled_on, r.source_id, r.row_number,
          r.corrects, r.from_habit
        from rows_{name} as r {chosen}
    """)


def find_originals(
    connection: duckdb.DuckDBPyConnection, record: RecordType, raw: dict[int, tuple[str, tuple[str, ...]]]
) -> None:
    """Create `original_<record>`: the text of every quarantined row that does not carry it yet.

    It comes from the sheet just read (`raw`: raw table and headings by source), else from the row as it was understood
    when it was read.
    """
    name = record.name
    connection.execute(f"""
        create temp table original_{name} (source_id integer, row_number bigint, original varchar);
        create temp table untold as
        select v.source_id, v.row_number from verdict_{name} as v
        where v.disposition = 'quarantined' and not exists (
          select 1 from rows_{name} as k
          where k.broken is not null and k.source_id = v.source_id and k.row_number = v.row_number);
    """)
    for (source_id,) in connection.execute("select distinct source_id from untold").fetchall():
        if source_id in raw:
            table, headings = raw[source_id]
            pairs = ", ".join(f"{quoted(h)}, t.c{i}" for i, h in enumerate(headings))
        else:
            table = f"(select * from rows_{name} where source_id = {source_id})"
            pairs = ", ".join(f"'{f.heading}', {_as_written(record, f)}" for f in record.fields)
        connection.execute(f"""
            insert into original_{name}
            select {source_id}, t.row_number, to_json(json_object({pairs}))::varchar
            from {table} as t semi join (select row_number from untold where source_id = {source_id}) as u
              on u.row_number = t.row_number
        """)
    connection.execute("drop table untold")


def _as_written(record: RecordType, field: Field) -> str:
    """Return SQL for a stored value as the template's heading would have it written; a name cannot be told again."""
    if field.kind is Kind.PERSON:
        return "null"
    if field.dimension is not None:
        return _in_written_unit(field.column, field.dimension)
    if field.kind is Kind.READING:
        return _by_quantity(lambda dimension: _in_written_unit(field.column, dimension))
    if field.name == "unit_written" and any(other.kind is Kind.READING for other in record.fields):
        return _by_quantity(lambda dimension: quoted(dimension.written_as))
    return f"{field.column}::varchar"


def _in_written_unit(column: str, dimension: Dimension) -> str:
    return f"({column} / {float(steps_per_unit(dimension, dimension.written_as))!r})::varchar"


def _by_quantity(sql: Callable[[Dimension], str]) -> str:
    whens = " ".join(f"when {quoted(q.word)} then {sql(q.dimension)}" for q in QUANTITIES)
    return f"case quantity {whens} end"
