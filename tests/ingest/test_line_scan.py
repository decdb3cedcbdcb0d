"""Lines are counted and numbered from the bytes alone."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.line_scan import line_numbers, line_starts, scan_lines
from ingest.text_dialect import Dialect

COMMA = Dialect(",", '"')


def test_lines_are_counted_across_chunks(tmp_path: Path) -> None:
    path = tmp_path / "f.csv"
    for newline, name in ((b"\n", "\\n"), (b"\r\n", "\\r\\n")):
        path.write_bytes(newline.join([b"job,position", *[b"J%d,a" % i for i in range(500_000)]]))
        scan = scan_lines(path, COMMA)
        assert (scan.lines, scan.newline) == (500_001, name)
        assert not any((scan.has_blank_line, scan.has_nul, scan.may_have_blank_cell, scan.may_have_blanks_around))


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
@pytest.mark.parametrize("blank", [" ", "\t", "\u00a0"])
@pytest.mark.parametrize("lines", [["a{0},b"], ["a,b{0}"], ["{0}a,b"], ["a,{0}b"], ['a,"b{0}"'], ["a{0}", "b,c"]])
def test_blanks_around_a_cell_are_seen(tmp_path: Path, newline: str, blank: str, lines: list[str]) -> None:
    path = tmp_path / "f.csv"
    for where in (0, 1):
        rows = ["J1,one position"] * 3
        rows[where:where] = [line.format(blank) for line in lines]
        for foot in ("", newline):
            path.write_bytes((newline.join(["job,position", *rows, *rows[where : where + len(lines)]]) + foot).encode())
            assert scan_lines(path, COMMA).may_have_blanks_around
    path.write_bytes(newline.join(["job,position", f"J1,one{blank}position"]).encode())
    assert not scan_lines(path, COMMA).may_have_blanks_around


def test_line_numbers() -> None:
    breaks = pl.DataFrame({"place": [1], "breaks": [2]})
    assert line_numbers(2, 4, [2, 7, 9], breaks).tolist() == [3, 4, 8, 10]
    assert line_numbers(5, 3, [], breaks.clear()).tolist() == [5, 6, 7]


def test_where_lines_begin(tmp_path: Path) -> None:
    path = tmp_path / "f.csv"
    path.write_bytes(b"".join(b"%d\n" % line for line in range(1, 700_001)))
    lines = np.array([2, 3, 10, 11, 500_000, 700_000, 700_001])
    data = path.read_bytes()
    for line, start in zip(lines.tolist(), line_starts(path, lines), strict=True):
        assert data[start:].startswith(b"%d\n" % line if line <= 700_000 else b"")
        assert data[start - 1 : start] == b"\n"


@given(st.lists(st.tuples(st.booleans(), st.integers(1, 4)), max_size=30))
def test_line_numbers_agree_with_counting(records: list[tuple[bool, int]]) -> None:
    """Each record is refused (one line) or a row of a height in lines; count them one by one."""
    line, refused, expected, breaks = 2, [], [], []
    for is_refused, height in records:
        if is_refused:
            refused.append(line)
            line += 1
            continue
        if height > 1:
            breaks.append((len(expected), height - 1))
        expected.append(line)
        line += height
    frame = pl.DataFrame(breaks, {"place": pl.Int64, "breaks": pl.Int64}, orient="row")
    assert line_numbers(2, len(expected), refused, frame).tolist() == expected
