"""Read a large text file of regular lines through DuckDB's reader, with its lines counted independently."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import duckdb
import polars as pl

from ingest.heading_text import unique_headings
from ingest.line_scan import LineNumbers, LineScan, line_numbers, line_starts, scan_lines
from ingest.plan import RefusedRow, SourceTable
from ingest.raw_table import BLANKS, columns_in_use, content_digest, filled, next_raw_table
from ingest.text_dialect import Dialect, why_refused


@dataclass(frozen=True)
class LargeText:
    """Describe a large text file: its path, the same text in UTF-8, its dialect and its heading row."""

    path: Path
    text_file: Path
    dialect: Dialect
    heading_line: int
    heading_cells: list[str]


def read_regular_lines(
    connection: duckdb.DuckDBPyConnection, text: LargeText, scan: LineScan | None = None
) -> SourceTable | None:
    """Read a large text file through DuckDB's reader; None where it has to be split by other means.

    `scan` is what its bytes hold, where they were looked at before. Rows, refused rows and the line breaks inside
    quoted cells must add up to the lines counted. Blank lines between rows, NUL bytes, mixed line ends and quotes out of
    place are left to the caller.
    """
    if any(sign in str(text.text_file) for sign in "*?["):  # DuckDB would take the name for a pattern
        return None
    scan = scan or scan_lines(text.text_file, text.dialect)
    if scan.has_nul or scan.has_blank_line or scan.newline is None:
        return None
    name = next_raw_table(connection)
    cells = f"{name}_cells"
    rejects = _read_cells(connection, cells, text, scan)
    stored = connection.execute(f"select count(*) from {cells}").fetchall()[0][0]
    refused = _refused_lines(text, scan, rejects)
    unexplained = scan.lines - text.heading_line - stored - len(rejects)
    breaks = _breaks_inside(connection, cells, len(text.heading_cells)) if unexplained or rejects else _no_breaks()
    if refused is not None and int(breaks["breaks"].sum()) == unexplained:
        numbers = line_numbers(text.heading_line + 1, int(stored), [row.row_number for row in refused], breaks)
        if _are_in_the_file(connection, cells, text, breaks, numbers):
            table = _number_rows(connection, name, text, refused, numbers)
            return replace(table, may_have_blanks_around=scan.may_have_blanks_around)
    connection.execute(f"drop table {cells}").fetchall()
    return None


def _read_cells(connection: duckdb.DuckDBPyConnection, cells: str, text: LargeText, scan: LineScan) -> list[int]:
    """Read every cell as text into the table `cells`; return where the rejected lines begin, in bytes."""
    width = len(text.heading_cells)
    columns = ", ".join(f"'c{index}': 'VARCHAR'" for index in range(width))
    cell = "case when trim(c{0}, $blanks) <> '' then c{0} end as c{0}" if scan.may_have_blank_cell else "c{0}"
    if scan.may_have_blank_cell and scan.newline == "\\r\\n":  # line breaks inside quotes become plain ones
        cell = cell.replace("then c{0}", "then replace(c{0}, chr(13) || chr(10), chr(10))")
    chosen = ", ".join(cell.format(index) for index in range(width))
    connection.execute(
        f"""create table {cells} as select {chosen} from read_csv($path, auto_detect = false, delim = $delimiter,
        quote = $quote, escape = $quote, comment = '', header = false, skip = {text.heading_line},
        columns = {{{columns}}}, new_line = '{scan.newline}', store_rejects = true,
        rejects_table = '{cells}_rejects', rejects_scan = '{cells}_scans', rejects_limit = 0)""",
        {"path": str(text.text_file), "delimiter": text.dialect.delimiter, "quote": text.dialect.quote}
        | ({"blanks": BLANKS} if scan.may_have_blank_cell else {}),
    ).fetchall()
    places = connection.execute(f"select distinct line_byte_position from {cells}_rejects order by 1").fetchall()
    for table in (f"{cells}_rejects", f"{cells}_scans"):
        connection.execute(f"drop table {table}").fetchall()
    return [int(place[0]) - 1 for place in places]


def _breaks_inside(connection: duckdb.DuckDBPyConnection, cells: str, width: int) -> pl.DataFrame:
    """Return the rows that hold line breaks inside their cells: their place from 0 and how many breaks."""
    some = " or ".join(f"contains(c{index}, chr(10))" for index in range(width))
    count = " + ".join(f"coalesce(length(c{i}) - length(replace(c{i}, chr(10), '')), 0)" for i in range(width))
    found = connection.execute(f"select rowid, {count} from {cells} where {some} order by 1").fetchall()
    return pl.DataFrame(found, _no_breaks().schema, orient="row")


def _no_breaks() -> pl.DataFrame:
    return pl.DataFrame(schema={"place": pl.Int64, "breaks": pl.Int64})


def _are_in_the_file(
    connection: duckdb.DuckDBPyConnection, cells: str, text: LargeText, breaks: pl.DataFrame, numbers: LineNumbers
) -> bool:
    """Return whether each row with breaks inside stands in the file on the lines where it has to stand.

    Where a quote is out of place, DuckDB can drop one line and take another into a cell, and the sum still holds.
    """
    if not breaks.height:
        return True
    width = len(text.heading_cells)
    chosen = ", ".join(f"c{index}" for index in range(width))
    some = " or ".join(f"contains(c{index}, chr(10))" for index in range(width))
    rows = connection.execute(f"select {chosen} from {cells} where {some} order by rowid").fetchall()
    first = numbers[breaks["place"].to_numpy()]
    last = first + breaks["breaks"].to_numpy()
    with text.text_file.open("rb") as file:
        for row, start, end in zip(
            rows, line_starts(text.text_file, first), line_starts(text.text_file, last + 1), strict=True
        ):
            file.seek(start)
            lines = file.read(end - start).decode(errors="replace").replace("\r\n", "\n")
            records = list(text.dialect.records(lines))
            if len(records) != 1 or tuple(filled(one) for one in records[0].fields or ()) != row:
                return False
    return True


def _refused_lines(text: LargeText, scan: LineScan, starts: list[int]) -> list[RefusedRow] | None:
    """Return the lines that begin at the rejected places, each looked at again; None where one is not what it seems."""
    refused: list[RefusedRow] = []
    line, position = 1, 0
    with text.text_file.open("rb") as file:
        for start in starts:
            file.seek(position)
            between = file.read(start - position)
            line += between.count(b"\n")
            found = file.readline()
            if found == b"\n":  # with CR LF the place may be that of the LF before the line
                line, start, between, found = line + 1, start + 1, found, file.readline()
            position = start
            if start >= scan.end or not between.endswith(b"\n"):
                return None
            record = next(text.dialect.records(found.decode(errors="replace").rstrip("\r\n")), None)
            if record is None:
                refused.append(RefusedRow(line, "", ""))
                continue
            reason = why_refused(record, len(text.heading_cells))
            if record.fields is None:  # after a quote out of place DuckDB may begin anew in the midst of a line
                return None
            if reason is None:
                return None
            blank = not any(filled(cell) for cell in record.fields or [record.text])
            refused.append(RefusedRow(line, record.text, "" if blank else reason))
    return refused


def _number_rows(
    connection: duckdb.DuckDBPyConnection,
    name: str,
    text: LargeText,
    refused: list[RefusedRow],
    numbers: LineNumbers,
) -> SourceTable:
    """Give every row its line number; rows of blank cells are taken out, refused lines are counted past."""
    width = len(text.heading_cells)
    kept = columns_in_use(connection, f"{name}_cells", text.heading_cells)
    cells = ", ".join(f"c{index} as c{place}" for place, index in enumerate(kept))
    filled_row = " or ".join(f"c{index} is not null" for index in range(width))
    blank = connection.execute(f"select count(*) from {name}_cells where not ({filled_row})").fetchall()[0][0]
    base, columns = f"{name}_cells", [f"c{index}" for index in kept]
    number = f"rowid + {text.heading_line + 1}"
    if len(numbers) and numbers[-1] != text.heading_line + len(numbers):
        _add_line_numbers(connection, base, numbers)
        number = "row_number"
    if blank:
        base, columns = name, [f"c{place}" for place in range(len(kept))]
        connection.execute(
            f"create table {name} as select {number} as row_number, {cells} from {name}_cells where {filled_row}"
        ).fetchall()
        connection.execute(f"drop table {name}_cells").fetchall()
    else:
        connection.execute(f"create view {name} as select {number} as row_number, {cells} from {base}").fetchall()
    named = unique_headings(text.heading_cells)
    headings = tuple(named[index] for index in kept)
    lines = tuple(row for row in refused if row.reason)
    digest = content_digest(connection, base, columns, headings, lines)
    return SourceTable(text.path, None, name, headings, text.heading_line, len(numbers) - blank, False, digest, lines)


def _add_line_numbers(connection: duckdb.DuckDBPyConnection, base: str, numbers: LineNumbers) -> None:
    """Add a column of line numbers to the table of cells."""
    connection.register("line_numbers", pl.DataFrame({"row_number": numbers}))
    connection.execute(f"create table {base}_numbers as select row_number from line_numbers").fetchall()
    connection.unregister("line_numbers")
    connection.execute(f"alter table {base} add column row_number bigint").fetchall()
    connection.execute(
        f"update {base} set row_number = n.row_number from {base}_numbers as n where n.rowid = {base}.rowid"
    ).fetchall()
    connection.execute(f"drop table {base}_numbers").fetchall()
