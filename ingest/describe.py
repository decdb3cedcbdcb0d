"""Write into the warehouse what it is: its format, the declarations, and from when each column is known."""

from __future__ import annotations

from typing import Any

import duckdb
import polars as pl

from ingest.gather import LINK_CLOCKS
from ingest.marts import MARTS
from ingest.records import RECORDS


def describe(connection: duckdb.DuckDBPyConnection, made_as: int, version: int, load_id: int) -> None:
    """Create `new.warehouse_format`, `new.record_field` and `new.clock`.

    `clock` has one row per table and column; `clock` NULL means known with the row (its `known_on`), else the column
    (or SQL over columns) that gives the day from which the value was known. `latest` is the last day on any clock.
    """
    clocks = _clocks(connection)
    views = {mart.name for mart in MARTS if mart.is_view}  # they hold no day that their tables do not
    used: dict[str, set[str]] = {}
    for table, _, _, clock in clocks:
        used.setdefault(table, {"known_on"}).add(clock or "known_on")
    days = " union all ".join(
        f"select greatest({', '.join(f'max({clock})' for clock in sorted(used[table]))}) as day from new.{table}"
        for table in used
        if table not in views
    )
    connection.execute(f"""
        create table new.warehouse_format as
        select {made_as} as format, {version} as version, {load_id} as load_id, max(day) as latest from ({days})
    """)
    _declarations(connection)


def _declarations(connection: duckdb.DuckDBPyConnection) -> None:
    rows = [
        (r.name, f.name, f.column, str(f.kind), f.dimension.step if f.dimension else None, f.required, f.about)
        for r in RECORDS
        for f in r.fields
    ]
    _write(
        connection, "record_field", rows,
        {"record": pl.String, "field": pl.String, "column_name": pl.String, "kind": pl.String, "unit": pl.String,
         "required": pl.Boolean, "about": pl.String},
    )  # fmt: skip


def _write(
    connection: duckdb.DuckDBPyConnection,
    table: str,
    rows: list[tuple[Any, ...]],
    schema: dict[str, type[pl.DataType]],
) -> None:
    connection.register("rows_to_write", pl.DataFrame(rows, schema=schema, orient="row"))
    connection.execute(f"create table new.{table} as select * from rows_to_write").fetchall()
    connection.unregister("rows_to_write")


def _clocks(connection: duckdb.DuckDBPyConnection) -> list[tuple[str, int, str, str | None]]:
    """Create `new.clock` and return its rows: table, place of the column, column, clock."""
    clocks = {**LINK_CLOCKS}
    clocks |= {(mart.name, column): clock for mart in MARTS for column, clock in mart.clocks.items()}
    for record in RECORDS:
        clocks |= {(record.name, field.column): record.clock_of(field) for field in record.fields if field.known}
    names = [*(r.name for r in RECORDS), *(m.name for m in MARTS if not m.by_day)]  # those are told by day as a whole
    columns = connection.execute(
        "select table_name, column_index, column_name from duckdb_columns() where database_name = 'new'"
    ).fetchall()
    clocks |= {(table, "settled_on"): "settled_on" for table in names}
    rows = [(t, i, c, clocks.get((t, c))) for t, i, c in sorted(columns) if t in names]
    _write(
        connection, "clock", rows,
        {"record": pl.String, "position": pl.Int32, "column_name": pl.String, "clock": pl.String},
    )  # fmt: skip
    return rows
