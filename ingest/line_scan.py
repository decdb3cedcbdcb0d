"""Count and number the lines of a large text file from its bytes, apart from any reader."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from ingest.text_dialect import Dialect

LineNumbers = np.ndarray[Any, np.dtype[np.int64]]

_CHUNK = 2_000_000
_NEWLINE, _RETURN = 10, 13
_BLANK_STARTS = (ord(" "), ord("\t"), 0xC2)  # 0xC2 begins a no-break space, 0xA0 ends it
_BLANK_ENDS = (ord(" "), ord("\t"), 0xA0)


@dataclass(frozen=True)
class LineScan:
    """Hold what a pass over a file's bytes found; `end` is where its last line ends, `newline` None if mixed."""

    lines: int
    end: int
    newline: str | None
    has_nul: bool
    has_blank_line: bool
    may_have_blank_cell: bool
    may_have_blanks_around: bool  # a cell may begin or end with a blank


def scan_lines(path: Path, dialect: Dialect) -> LineScan:
    """Count the lines of a file and look for what DuckDB's reader would not number or clean as we do."""
    end = _end_of_last_line(path)
    delimiter, quote = dialect.delimiter.encode()[-1], dialect.quote.encode()
    newlines = returns = pairs = 0
    has_nul = blank_line = blank_cell = blank_end = False
    before = b"\n"
    with path.open("rb") as file:
        left = end
        while left and (chunk := file.read(min(_CHUNK, left))):
            left -= len(chunk)
            codes = np.frombuffer(before + chunk, np.uint8)
            ends = codes == _NEWLINE
            newlines += int(np.count_nonzero(ends[1:]))
            has_nul = has_nul or b"\0" in chunk
            next_is_end, cell_ends = ends[1:], ends | (codes == delimiter)
            if b"\r" in chunk or before == b"\r":
                marks = codes == _RETURN
                returns += int(np.count_nonzero(marks[1:]))
                pairs += int(np.count_nonzero(marks[:-1] & ends[1:]))
                next_is_end = ends[1:] | marks[1:]
                cell_ends |= marks
            blank_line = blank_line or bool((ends[:-1] & next_is_end).any())
            if not blank_cell:
                blank_cell = quote in chunk or _is_blank_beside(codes[1:], cell_ends[:-1], _BLANK_STARTS)
            if not blank_cell and not blank_end:
                blank_end = _is_blank_beside(codes[:-1], cell_ends[1:], _BLANK_ENDS)
            before = chunk[-1:]
    blank_end = blank_end or before[0] in _BLANK_ENDS
    newline = "\\n" if not returns else "\\r\\n" if returns == pairs == newlines else None
    return LineScan(newlines + 1, end, newline, has_nul, blank_line, blank_cell, blank_cell or blank_end)


def _is_blank_beside(
    codes: np.ndarray[Any, np.dtype[np.uint8]], breaks: np.ndarray[Any, np.dtype[np.bool_]], blanks: tuple[int, ...]
) -> bool:
    """Return whether one of `blanks` stands where the byte next to it, `breaks`, ends or begins a cell."""
    return any(bool((breaks & (codes == blank)).any()) for blank in blanks)


def _end_of_last_line(path: Path) -> int:
    """Return the file's length without the line ends at its foot."""
    end = path.stat().st_size
    with path.open("rb") as file:
        while end:
            start = max(0, end - 4096)
            file.seek(start)
            kept = file.read(end - start).rstrip(b"\r\n")
            if kept:
                return start + len(kept)
            end = start
    return end


def line_numbers(first: int, rows: int, refused: list[int], breaks: pl.DataFrame) -> LineNumbers:
    """Return the line on which each row begins, past refused lines and the breaks inside earlier rows.

    `first` is the line below the heading, `refused` the refused lines in order, `breaks` the places (from 0) of rows
    with breaks inside and how many.
    """
    lines = np.arange(first, first + rows, dtype=np.int64)
    if breaks.height:
        heights = np.zeros(rows, dtype=np.int64)
        heights[breaks["place"].to_numpy()] = breaks["breaks"].to_numpy()
        lines += np.cumsum(heights) - heights
    without_refused = np.asarray(refused, dtype=np.int64) - np.arange(len(refused))
    return lines + np.searchsorted(without_refused, lines, side="right")


def line_starts(path: Path, lines: LineNumbers) -> list[int]:
    """Return where in the file each of these lines (in rising order, from 2) begins."""
    starts: list[int] = []
    passed = position = 0
    with path.open("rb") as file:
        while len(starts) < len(lines) and (chunk := file.read(_CHUNK)):
            ends = np.flatnonzero(np.frombuffer(chunk, np.uint8) == _NEWLINE)
            here = lines[len(starts) :]
            here = here[here - 2 - passed < len(ends)]
            starts += (position + ends[here - 2 - passed] + 1).tolist()
            passed += len(ends)
            position += len(chunk)
    return starts + [position] * (len(lines) - len(starts))
