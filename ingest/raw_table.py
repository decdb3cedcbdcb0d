"""Keep a sheet's text in a table of the load's connection and digest its content."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path

import duckdb
import polars as pl

from ingest.heading_text import unique_headings
from ingest.plan import RefusedRow, SourceTable

BLANKS = " \t\r\n\u00a0"
_BATCH = 50_000


def filled(text: str | None) -> str | None:
    """Return a cell's text, None where it holds nothing but blanks."""
    return text if text is not None and text.strip(BLANKS) else None


def number_text(value: float | int | Decimal) -> str:
    """Return a number as text with a decimal point, without exponent, exact to 15 significant digits."""
    exact = Decimal(value) if isinstance(value, int | Decimal) else Decimal(f"{value:.15g}")
    if not exact.is_finite():
        return str(value)
    text = f"{exact:f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("-0", "") else text


def next_raw_table(connection: duckdb.DuckDBPyConnection) -> str:
    """Return a table name that this connection does not use yet."""
    taken = connection.execute(
        "select count(*) from (select table_name from duckdb_tables() union select view_name from duckdb_views())"
        " as existing(name) where regexp_matches(name, '^raw_[0-9]+$')"
    ).fetchall()
    return f"raw_{taken[0][0]}"


@dataclass
class RowStore:
    """Collect rows of text and write them to the raw table in batches; blank rows are passed over."""

    connection: duckdb.DuckDBPyConnection
    table: str
    width: int
    rows: int = 0
    _numbers: list[int] = field(default_factory=list)
    _cells: list[Sequence[str | None]] = field(default_factory=list)

    def __post_init__(self) -> None:
        columns = ", ".join(["row_number BIGINT", *(f"c{index} VARCHAR" for index in range(self.width))])
        self.connection.execute(f"create table {self.table} ({columns})").fetchall()

    def add(self, row_number: int, cells: Sequence[str | None]) -> None:
        """Add one row; its cells number `width`."""
        self._numbers.append(row_number)
        self._cells.append(cells)
        if len(self._numbers) >= _BATCH:
            self.flush()

    def flush(self) -> None:
        """Write what was collected to the table."""
        if not self._numbers:
            return
        columns = {"row_number": pl.Series(self._numbers, dtype=pl.Int64)}
        for index, values in enumerate(zip(*self._cells, strict=True)):
            columns[f"c{index}"] = pl.Series(values, dtype=pl.String)
        cells = pl.exclude("row_number")
        frame = pl.DataFrame(columns).with_columns(pl.when(cells.str.strip_chars(BLANKS) != "").then(cells))
        frame = frame.filter(pl.any_horizontal(cells.is_not_null()))
        self.connection.register("rows_to_store", frame)
        self.connection.execute(f"insert into {self.table} select * from rows_to_store").fetchall()
        self.connection.unregister("rows_to_store")
        self.rows += frame.height
        self._numbers.clear()
        self._cells.clear()


def store_rows(
    connection: duckdb.DuckDBPyConnection,
    file: Path,
    sheet: str | None,
    heading_row: int,
    heading_cells: Sequence[str | None],
    rows: Iterable[tuple[int, Sequence[str | None]]],
    refused: Sequence[RefusedRow] = (),
    typed_cells: bool = False,
) -> SourceTable:
    """Write rows of text to a new raw table and describe it; `refused` may grow while `rows` are drawn.

    Columns without a heading and without a value are left out.
    """
    store = RowStore(connection, next_raw_table(connection), len(heading_cells))
    for row_number, cells in rows:
        store.add(row_number, cells)
    store.flush()
    kept = columns_in_use(connection, store.table, heading_cells)
    if len(kept) < len(heading_cells):
        moved = ", ".join(["row_number", *(f"c{index} as c{place}" for place, index in enumerate(kept))])
        connection.execute(f"create or replace table {store.table} as select {moved} from {store.table}").fetchall()
    named = unique_headings(heading_cells)
    headings = tuple(named[index] for index in kept)
    columns = [f"c{place}" for place in range(len(kept))]
    digest = content_digest(connection, store.table, columns, headings, refused)
    return SourceTable(
        file, sheet, store.table, headings, heading_row, store.rows, typed_cells, digest, tuple(refused)
    )  # fmt: skip


def columns_in_use(
    connection: duckdb.DuckDBPyConnection, table: str, heading_cells: Sequence[str | None]
) -> tuple[int, ...]:
    """Return the indexes of the columns that have a heading or at least one value."""
    nameless = [index for index, cell in enumerate(heading_cells) if filled(cell) is None]
    if not nameless:
        return tuple(range(len(heading_cells)))
    counts = connection.execute(f"select {', '.join(f'count(c{index})' for index in nameless)} from {table}").fetchall()
    unused = {index for index, count in zip(nameless, counts[0], strict=True) if not count}
    return tuple(index for index in range(len(heading_cells)) if index not in unused)


def content_digest(
    connection: duckdb.DuckDBPyConnection,
    table: str,
    columns: Sequence[str],
    headings: Sequence[str],
    refused: Sequence[RefusedRow],
) -> str:
    """Return a digest of headings, cells (`columns` of `table`) and refused rows in order, whatever the file's format.

    Each row's hash takes in its place, so that adding them up in any order, over any number of threads, keeps the
    order of rows in the digest.
    """
    cells = "".join(f", {column}" for column in columns)
    sums = connection.execute(
        f"select count(*), bit_xor(h), sum(h) from (select hash(rowid{cells}) as h from {table})"
    ).fetchall()
    content = [list(headings), [str(value) for value in sums[0]], [row.text for row in refused]]
    return hashlib.sha256(json.dumps(content).encode()).hexdigest()
