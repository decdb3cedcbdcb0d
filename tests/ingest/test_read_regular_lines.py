"""The quick way through DuckDB takes regular files, numbers their lines exactly, and declines all others."""

from __future__ import annotations

from pathlib import Path

import duckdb
import pytest

from ingest.plan import SourceTable
from ingest.read_regular_lines import LargeText, read_regular_lines
from ingest.text_dialect import Dialect

COMMA = Dialect(",", '"')


def read(
    path: Path, data: bytes, width: int = 2, threads: int = 2
) -> tuple[SourceTable | None, list[tuple[object, ...]]]:
    path.write_bytes(data)
    connection = duckdb.connect()
    connection.execute(f"set threads = {threads}").fetchall()
    table = read_regular_lines(connection, LargeText(path, path, COMMA, 1, ["job", "position", "grade"][:width]))
    return table, connection.sql(f"from {table.raw_table}").fetchall() if table else []


@pytest.mark.parametrize(
    ("data", "lines"),
    [
        (b"job,position\nJ1,a\nJ2,b\n", [2, 3]),
        (b"job,position\r\nJ1,a\r\nJ2,b", [2, 3]),
        (b"\xef\xbb\xbfjob,position\nJ1,a\nJ2,b\n\n\n", [2, 3]),
        (b"job,position\nJ1\nJ1,a\nx,y,z\n   \nJ2,b\n", [3, 6]),
        (b"job,position\r\nJ1\r\nJ1,a\r\nx,y,z\r\n   \r\nJ2,b\r\n", [3, 6]),
        (b'\xef\xbb\xbfjob,position\nJ1\n"J1","a"\nJ2,"b"\nJ3\n', [3, 4]),
        (b"job,position\nJ1,a\n,\nJ2,b\n , \n", [2, 4]),
    ],
)
def test_regular_files_are_taken(tmp_path: Path, data: bytes, lines: list[int]) -> None:
    table, rows = read(tmp_path / "f.csv", data)
    assert table is not None
    assert rows == [(lines[0], "J1", "a"), (lines[1], "J2", "b")]
    assert table.rows == 2


@pytest.mark.parametrize("newline", [b"\n", b"\r\n"])
def test_breaks_inside_quotes_are_counted(tmp_path: Path, newline: bytes) -> None:
    lines = [b"job,position", b"J0", b'J1,"a', b'b"', b"J2,c,d", b'"J', b'3","e', b"J4,g"]
    table, rows = read(tmp_path / "f.csv", newline.join(lines[:7]) + b'"' + newline + lines[7])
    assert table is not None
    assert rows == [(3, "J1", "a\nb"), (6, "J\n3", "e"), (8, "J4", "g")]
    assert [row.row_number for row in table.refused] == [2, 5]


@pytest.mark.parametrize(
    "data",
    [
        b"job,position\nJ1,a\n\nJ2,b\n",  # a blank line
        b"job,position\nJ1,a\r\nJ2,b\n",  # mixed line ends
        b"job,position\nJ1,a\rJ2,b\n",
        b"job,position\nJ1,\0\nJ2,b\n",
        b'job,position\nJ1,"a\nJ2,b\n',  # a quote that is not closed
    ],
)
def test_other_files_are_declined_and_leave_nothing_behind(tmp_path: Path, data: bytes) -> None:
    connection = duckdb.connect()
    path = tmp_path / "f.csv"
    path.write_bytes(data)
    assert read_regular_lines(connection, LargeText(path, path, COMMA, 1, ["job", "position"])) is None
    assert connection.sql("select table_name from duckdb_tables()").fetchall() == []


def test_order_and_line_numbers_hold_over_threads_and_buffers(tmp_path: Path) -> None:
    """Every 1000th line is refused; row i of those left stands on the line that its own text names."""
    lines = [b"L%d,%d,%d" % (n, n * 7 % 1013, n) if n % 1000 else b"L%d,short" % n for n in range(2, 1_200_002)]
    table, _ = read(tmp_path / "f.csv", b"job,position,grade\n" + b"\n".join(lines) + b"\n", 3)
    assert table is not None
    assert table.rows == 1_198_800
    assert [row.row_number for row in table.refused] == list(range(1000, 1_200_001, 1000))
    assert all(row.text == f"L{row.row_number},short" for row in table.refused)


def test_numbers_of_many_lines(tmp_path: Path) -> None:
    path = tmp_path / "f.csv"
    lines = [b"L%d,%d" % (n, n) if n % 1000 else b"L%d" % n for n in range(2, 600_002)]
    path.write_bytes(b"job,position\n" + b"\n".join(lines) + b"\n")
    connection = duckdb.connect()
    table = read_regular_lines(connection, LargeText(path, path, COMMA, 1, ["job", "position"]))
    assert table is not None
    wrong = f"select count(*) from {table.raw_table} where row_number::varchar <> c1 or c0 <> 'L' || c1"
    assert connection.sql(wrong).fetchall() == [(0,)]
    before = f"select row_number, lag(row_number) over () as before from {table.raw_table}"
    in_order = f"select bool_and(row_number > before) from ({before})"
    assert connection.sql(in_order).fetchall() == [(True,)]
