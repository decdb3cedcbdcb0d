"""Gather every row ever read of one record type, linked by number to the job, unit and position it names."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import duckdb

from ingest.digest import likeness_sql
from ingest.record_model import RecordType
from ingest.type_rows import TypedRows


@dataclass(frozen=True)
class Links:
    """Hold what follows from a row and from the earlier rows that it names: SQL columns over `r`, and their joins."""

    columns: tuple[tuple[str, str], ...] = ()  # (name, SQL)
    joins: str = ""

    @property
    def names(self) -> tuple[str, ...]:
        """Return the names of the columns."""
        return tuple(name for name, _ in self.columns)


_JOB = (("job_id", "j.job_id"), ("unit_id", "j.unit_id"))
_POSITION = " left join new.position as p on p.family = j.family and p.position = r.position"
_FAILED = """case when r.grade is null and r.role is null then null
  else coalesce(r.grade in ('3', '4'), false) or coalesce(r.role in ('cause', 'failed'), false) end"""
# Where no movement is written, a part counts as fitted once its job was put together: while the job is open, a line
# may be an order only.
_FITTED = "coalesce(r.movement = 'fitted', if(coalesce(j.closed, j.delivered) is not null, true, null))"

NUMBERED = ("position", "unit", "job")  # accepted rows get a number, by which others are joined to them

# From when a link that tells more than a number was known.
LINK_CLOCKS: dict[tuple[str, str], str | None] = {
    ("comeback", "comeback_known"): "comeback_known",
    ("part_line", "fitted"): "settled_on",
    ("part_line", "position_id"): "settled_on",
}


def links_of(record: RecordType) -> Links:
    """Return how rows of this record type are linked. The numbers hold within one version only."""
    if record.name == "job":
        return Links((("unit_id", "u.unit_id"), ("family", "u.family")), "left join new.unit as u on u.unit = r.unit")
    if record.name == "comeback":
        known = "greatest(r.reported, k.opened)"
        return Links((("comeback_known", known),), "left join new.job as k on k.job = r.comeback_job")
    if not record.has_job:
        return Links()
    job = "left join new.job as j on j.job = r.job"
    if record.name == "finding":
        return Links((("failed", _FAILED), *_JOB, ("position_id", "p.position_id")), job + _POSITION)
    if record.name == "part_line":
        return Links((*_JOB, ("position_id", "p.position_id"), ("fitted", _FITTED)), job + _POSITION)
    return Links(_JOB, job)


def has_old(connection: duckdb.DuckDBPyConnection) -> bool:
    """Return whether an earlier version is attached as `old`."""
    return bool(
        connection.execute("select count(*) from duckdb_databases() where database_name = 'old'").fetchall()[0][0]
    )


def columns_before(connection: duckdb.DuckDBPyConnection, table: str) -> frozenset[str]:
    """Return the columns of a table in the version before: none where there is no such version or table."""
    found = connection.execute(
        "select column_name from duckdb_columns() where database_name = 'old' and table_name = $1", [table]
    )
    return frozenset(name for (name,) in found.fetchall())


def is_gathered_in_place(connection: duckdb.DuckDBPyConnection, record: RecordType) -> bool:
    """Return whether the rows are gathered where they are published, and those that are not accepted taken out again.

    Most rows of a first load are accepted, and writing millions of rows twice costs more than all checks together.
    Later loads mostly read again what is on record, and some records are numbered once it is known what is accepted.
    """
    return record.name not in NUMBERED and not has_old(connection)


def gather(connection: duckdb.DuckDBPyConnection, record: RecordType, typed: Sequence[TypedRows]) -> int:
    """Create the view `rows_<record>`: every row ever read, linked, and return how many.

    The view has source_id, row_number, corrects, every declared column, fault_field, fault, original (the row's text
    where it is kept), the links, known_on, settled_on and `likeness` (see `likeness_sql`). `kept_row` is a row's place
    in the table below, `new.<record>` or `kept_<record>` (see `is_gathered_in_place`): a few rows among millions are
    fetched by it, so that the others need not be read in all their columns.
    """
    name, links = record.name, links_of(record)
    table = f"new.{name}" if is_gathered_in_place(connection, record) else f"kept_{name}"
    declared = {field.column: field.sql_type for field in record.fields}
    parts = [one.sql for one in typed]
    known = columns_before(connection, name)
    if known:
        fields = ", ".join(("source_id", "row_number", "corrects", *(column for column in declared if column in known)))
        parts.append(f"select {fields}, null::varchar[] as broken from old.{name} where not from_habit")
        broken = "case when coalesce(fault, original) is not null then [fault_field, fault, original] end as broken"
        parts.append(f"select {fields}, {broken} from old.held_{name}")
    parts.append(_nothing(declared))
    kept = ", ".join(f"r.{column}" for column in declared)
    linked = "".join(f", {sql} as {column}" for column, sql in links.columns)
    connection.execute(f"""
        create table {table} as
        with r as ({" union all by name ".join(parts)})
        select {kept}{linked}, {_beside(record)}, r.broken
        from r {links.joins}
    """)
    connection.execute(f"""
        create view rows_{name} as
        select r.rowid as kept_row, r.*, {likeness_sql(record, "r")} as likeness,
          r.broken[1] as fault_field, r.broken[2] as fault, r.broken[3] as original from {table} as r
    """)
    return int(connection.execute(f"select count(*) from {table}").fetchall()[0][0])


def gather_none(connection: duckdb.DuckDBPyConnection, record: RecordType) -> None:
    """Create `new.<record>` and `new.held_<record>` of a record type that no load ever read.

    Most workshops keep some of the record types only, and to decide about no row takes as many statements as about one.
    """
    name, links = record.name, links_of(record)
    declared = {field.column: field.sql_type for field in record.fields}
    fields = ", ".join(f"r.{column}" for column in declared)
    number = f", null::integer as {name}_id" if name in NUMBERED else ""
    linked = "".join(f", {sql} as {column}" for column, sql in links.columns)
    connection.execute(f"""
        create table new.{name} as
        select {fields}{number}{linked}, {_beside(record)} from {_nothing(declared)} as r {links.joins};
        create table new.held_{name} as
        select r.source_id, r.row_number, r.corrects, {fields}, null::varchar as fault_field, null::varchar as fault,
          null::varchar as original, null::varchar as disposition, null::varchar as field, null::varchar as reason,
          null::integer as by_source, null::bigint as by_row
        from new.{name} as r
    """)


def _beside(record: RecordType) -> str:
    """Return the columns that follow what is declared and linked."""
    return (
        f"({record.known_on})::date as known_on, ({record.settled_on})::date as settled_on, r.source_id, r.row_number, "
        "r.corrects, false as from_habit"
    )


def _nothing(declared: dict[str, str]) -> str:
    """Return SQL for no row that has every column, so that the union has them all."""
    columns = ", ".join(f"null::{kind} as {column}" for column, kind in declared.items())
    return (
        f"(select null::integer as source_id, null::bigint as row_number, null::varchar as corrects, {columns}, "
        "null::varchar[] as broken where false)"
    )


def let_go(connection: duckdb.DuckDBPyConnection, record: RecordType) -> None:
    """Free what `gather` and the decision made, once the record type is written."""
    name = record.name
    connection.execute(
        f"drop view rows_{name}; drop table if exists kept_{name}; drop table verdict_{name}; "
        f"drop table original_{name}; drop table if exists faulty_{name}"
    )
