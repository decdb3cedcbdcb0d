"""Read a Parquet file into a raw table, numbers exact and dates as ISO text, without leaving DuckDB."""

from __future__ import annotations

from pathlib import Path

import duckdb

from ingest.heading_text import unique_headings
from ingest.plan import LoadError, SourceTable
from ingest.raw_table import BLANKS, content_digest, next_raw_table

PARQUET_SUFFIXES = (".parquet",)
_WHOLE = (
    "TINYINT",
    "SMALLINT",
    "INTEGER",
    "BIGINT",
    "HUGEINT",
    "UTINYINT",
    "USMALLINT",
    "UINTEGER",
    "UBIGINT",
    "UHUGEINT",
)
_TEXTS = ("VARCHAR", "UUID", "DATE", "BOOLEAN")


def read_parquet(connection: duckdb.DuckDBPyConnection, path: Path) -> SourceTable:
    """Read one Parquet file; a row's number is its place in the file, from 1.

    Raises LoadError where the file is no Parquet or a column holds lists or other nested values.
    """
    if path.stat().st_size == 0:
        raise LoadError(f"{path.name}: the file is empty")
    source = "read_parquet($path)"
    place = _plain_name(path)
    try:
        columns = connection.execute(f"describe select * from {source}", {"path": place}).fetchall()
    except duckdb.Error as error:
        raise LoadError(f"{path.name}: expected a Parquet file, found another kind of file or one cut short") from error
    names = [str(column[0]) for column in columns]
    texts = [_as_text(path, str(column[0]), str(column[1])) for column in columns]
    table = next_raw_table(connection)
    cells = ", ".join(
        f"nullif(trim({text}, $blanks), '') is null as b{i}, {text} as c{i}" for i, text in enumerate(texts)
    )
    chosen = ", ".join(f"case when not b{i} then c{i} end as c{i}" for i in range(len(texts)))
    some = " or ".join(f"not b{i}" for i in range(len(texts)))
    try:
        connection.execute(
            f"create table {table} as select row_number, {chosen} from (select file_row_number + 1 as row_number, "
            f"{cells} from read_parquet($path, file_row_number = true)) where {some}",
            {"path": place, "blanks": BLANKS},
        ).fetchall()
    except duckdb.Error as error:
        raise LoadError(f"{path.name}: the Parquet file is damaged or cut short") from error
    headings = unique_headings(names)
    rows = connection.execute(f"select count(*) from {table}").fetchall()[0][0]
    digest = content_digest(connection, table, [f"c{index}" for index in range(len(names))], headings, ())
    return SourceTable(path, None, table, headings, 0, int(rows), True, digest)


def _plain_name(path: Path) -> str:
    """Return the path with the signs of a file pattern taken as themselves."""
    return "".join(f"[{sign}]" if sign in "*?[" else sign for sign in str(path))


def _as_text(path: Path, name: str, kind: str) -> str:
    """Return SQL that writes a column as the other readers write such cells."""
    column = '"' + name.replace('"', '""') + '"'
    text = f"{column}::VARCHAR"
    if kind in _WHOLE or kind in _TEXTS:
        return text
    if kind.startswith("DECIMAL"):
        return f"case when contains({text}, '.') then rtrim(rtrim({text}, '0'), '.') else {text} end"
    if kind in ("DOUBLE", "FLOAT"):
        digits = 15 if kind == "DOUBLE" else 7
        short = f"printf('%.{digits}g', {column}::DOUBLE)"
        plain = f"rtrim(rtrim(({short}::DOUBLE)::DECIMAL(38, 18)::VARCHAR, '0'), '.')"
        return f"case when {column} = 0 then '0' when contains({short}, 'e') then {plain} else {short} end"
    if kind.startswith("TIMESTAMP"):
        day = f"{column}::TIMESTAMP"
        return (
            f"case when {day} = date_trunc('day', {day}) then {day}::DATE::VARCHAR "
            f"else strftime({day}, '%Y-%m-%d %H:%M:%S') end"
        )
    raise LoadError(f"{path.name}, column '{name}': expected text, numbers, dates or flags, found {kind.lower()}")
