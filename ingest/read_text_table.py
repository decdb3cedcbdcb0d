"""Read CSV and other delimited text into a raw table, losing no row and changing no cell.

DuckDB's own guessing is never used: it can lose rows without a word. A large file of regular lines goes through
DuckDB's reader with everything declared, and its lines are counted independently; any other file is split here.
"""

from __future__ import annotations

import codecs
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import duckdb

from ingest.heading_text import find_heading_row
from ingest.line_scan import LineScan, scan_lines
from ingest.mapping import ReadingOptions
from ingest.plan import LoadError, RefusedRow, SourceTable
from ingest.raw_table import filled, store_rows
from ingest.read_regular_lines import LargeText, read_regular_lines
from ingest.text_dialect import Dialect, TextRecord, find_dialect, why_refused

TEXT_SUFFIXES = (".csv", ".tsv", ".tab", ".txt", ".psv")
LARGE = 1_000_000  # bytes from which a file goes through DuckDB's reader
_CHUNK = 4_000_000
_SAMPLE = 150_000  # characters that settle delimiter, quote and heading row
_MARKS = ((codecs.BOM_UTF8, "utf-8"), (codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be"))


@dataclass(frozen=True)
class _Heading:
    """Hold the heading row: the line on which it begins and ends, and its cells."""

    line: int
    last_line: int
    cells: list[str]


@dataclass(frozen=True)
class TextLook:
    """Hold what is told of a text file before it is read: its encoding, and the bytes of a large file of UTF-8."""

    encoding: str
    mark: int  # length of the byte order mark
    text: LargeText | None = None
    scan: LineScan | None = None


def look_at_text(path: Path, options: ReadingOptions, known: Sequence[frozenset[str]], large: int = LARGE) -> TextLook:
    """Look at a text file as far as that needs no connection, so that it can be done while others are read.

    Raises LoadError as `read_text_table` does.
    """
    size = path.stat().st_size
    if size == 0:
        raise LoadError(f"{path.name}: the file is empty")
    encoding, mark = find_encoding(path, options.encoding)
    if size < large or encoding != "utf-8":
        return TextLook(encoding, mark)
    text = _large_text(path, path, options, known)
    return TextLook(encoding, mark, text, scan_lines(path, text.dialect) if text else None)


def read_text_table(
    connection: duckdb.DuckDBPyConnection,
    path: Path,
    options: ReadingOptions,
    known: Sequence[frozenset[str]],
    large: int = LARGE,
    look: TextLook | None = None,
) -> SourceTable:
    """Read one delimited text file into a raw table.

    Its rows are numbered by line. A row with another number of fields than the heading, or with a quote that is not
    closed, becomes a `RefusedRow`. `known` are the sets of folded headings that help to find the heading row, `look`
    what `look_at_text` found where it was looked at before.
    Raises LoadError where encoding, delimiter or heading cannot be told, or where the file is empty or no text.
    """
    look = look or look_at_text(path, options, known, large)
    if path.stat().st_size >= large:
        with _as_utf8(path, look.encoding, look.mark) as text_file:
            lines = look.text if text_file == path else _large_text(path, text_file, options, known)
            found = read_regular_lines(connection, lines, look.scan) if lines is not None else None
            if found is not None:
                return found
    text = _plain_newlines(_decoded(path, look.encoding, look.mark))
    return _read_whole(connection, path, text, options, known)


def find_encoding(path: Path, declared: str | None) -> tuple[str, int]:
    """Return the file's encoding and the length of its byte order mark.

    UTF-8 or UTF-16 by their marks, else UTF-8 where every byte fits, else cp1252. Raises LoadError where none fits.
    """
    with path.open("rb") as file:
        head = file.read(4096)
    _refuse_other_formats(path, head)
    for mark, encoding in _MARKS:
        if head.startswith(mark) and (declared is None or codecs.lookup(declared).name.startswith(encoding[:5])):
            return encoding, len(mark)
    if declared is not None:
        wrong = _first_undecodable(path, declared)
        if wrong is not None:
            raise LoadError(
                f"{path.name}, line {wrong}: is not text in {declared}, the encoding that the mapping declares"
            )
        return declared, 0
    if head.count(0) > len(head) // 10:
        raise LoadError(
            f"{path.name}: is no text, or UTF-16 without a byte order mark; say encoding = ... in a mapping"
        )
    for encoding in ("utf-8", "cp1252"):
        wrong = _first_undecodable(path, encoding)
        if wrong is None:
            return encoding, 0
    raise LoadError(f"{path.name}, line {wrong}: is neither UTF-8 nor cp1252 text; say encoding = ... in a mapping")


def _refuse_other_formats(path: Path, head: bytes) -> None:
    if head.startswith(b"PK\x03\x04"):
        raise LoadError(f"{path.name}: expected text, found a workbook or archive; give a workbook the ending .xlsx")
    if head.startswith(b"PAR1"):
        raise LoadError(f"{path.name}: expected text, found Parquet; give it the ending .parquet")


def _first_undecodable(path: Path, encoding: str) -> int | None:
    """Return the number of the first line that does not decode, None where all of the file does."""
    decoder = codecs.getincrementaldecoder(encoding)()
    ascii_is_itself = encoding in ("utf-8", "cp1252")
    pending = False
    with path.open("rb") as file:
        while True:
            chunk = file.read(_CHUNK)
            try:
                if not (ascii_is_itself and chunk and not pending and chunk.isascii()):
                    decoder.decode(chunk, final=not chunk)
                    pending = bool(decoder.getstate()[0])
            except UnicodeDecodeError as error:
                before = _newlines(path, file.tell() - len(chunk))
                return 1 + before + error.object[: error.start].count(b"\n")
            if not chunk:
                return None


def _newlines(path: Path, end: int) -> int:
    """Count the newlines in the first `end` bytes; looked at only where a fault has to be placed."""
    count = 0
    with path.open("rb") as file:
        while end and (chunk := file.read(min(_CHUNK, end))):
            count += chunk.count(b"\n")
            end -= len(chunk)
    return count


def _decoded(path: Path, encoding: str, mark: int) -> str:
    return path.read_bytes()[mark:].decode(encoding)


def _plain_newlines(text: str) -> str:
    return text.replace("\r\n", "\n").replace("\r", "\n")


@dataclass
class _as_utf8:  # noqa: N801 (used as a context manager, reads as a verb)
    """Give the path of the same text in UTF-8: the file itself, or a copy that is removed again."""

    path: Path
    encoding: str
    mark: int
    folder: tempfile.TemporaryDirectory[str] | None = None

    def __enter__(self) -> Path:
        if self.encoding == "utf-8":
            return self.path
        self.folder = tempfile.TemporaryDirectory()
        copy = Path(self.folder.name) / "text.csv"
        decoder = codecs.getincrementaldecoder(self.encoding)()
        with self.path.open("rb") as source, copy.open("wb") as target:
            source.seek(self.mark)
            while chunk := source.read(_CHUNK):
                target.write(decoder.decode(chunk).encode())
            target.write(decoder.decode(b"", final=True).encode())
        return copy

    def __exit__(self, *_: object) -> None:
        if self.folder is not None:
            self.folder.cleanup()


def _large_text(
    path: Path, text_file: Path, options: ReadingOptions, known: Sequence[frozenset[str]]
) -> LargeText | None:
    """Describe a large file for DuckDB's reader; None where its heading is not regular enough for that."""
    with text_file.open("rb") as file:
        sample = file.read(_SAMPLE)
    sample = sample[: sample.rfind(b"\n") + 1].removeprefix(codecs.BOM_UTF8)
    text = _plain_newlines(sample.decode(errors="replace"))
    if not text:
        return None
    dialect = find_dialect(path.name, text, options, known)
    heading, below = _find_heading(path, dialect.records(text), options, known)
    cells = _usual_width(heading.cells, below)
    if heading.line != heading.last_line or len(cells) < 2 or not dialect.quote:
        return None
    return LargeText(path, text_file, dialect, heading.line, cells)


def _read_whole(
    connection: duckdb.DuckDBPyConnection,
    path: Path,
    text: str,
    options: ReadingOptions,
    known: Sequence[frozenset[str]],
) -> SourceTable:
    """Split the whole text here, record by record."""
    if not text.strip():
        raise LoadError(f"{path.name}: the file holds blank lines only")
    sample = text if len(text) <= _SAMPLE else text[: text.rfind("\n", 0, _SAMPLE) + 1]
    dialect = find_dialect(path.name, sample, options, known)
    heading, below = _find_heading(path, dialect.records(sample), options, known)
    cells = _usual_width(heading.cells, below)
    refused: list[RefusedRow] = []
    rows = _rows_below(dialect, text, heading, len(cells), refused)
    return store_rows(connection, path, None, heading.line, cells, rows, refused)


def _find_heading(
    path: Path, records: Iterator[TextRecord], options: ReadingOptions, known: Sequence[frozenset[str]]
) -> tuple[_Heading, list[TextRecord]]:
    """Return the heading row and the records below it in the sample."""
    sample = list(records)
    if options.heading_row is None:
        index, _ = find_heading_row([record.fields or [] for record in sample[:60]], known)
    else:
        at = [place for place, record in enumerate(sample) if record.line == options.heading_row]
        if not at:
            raise LoadError(
                f"{path.name}: the mapping's heading_row = {options.heading_row} is a blank line or is not there"
            )
        index = at[0]
    record = sample[index]
    if record.fields is None:
        raise LoadError(f"{path.name}, line {record.line}: the heading row has a quote that is not closed")
    heading = _Heading(record.line, record.line + record.text.count("\n"), record.fields)
    return heading, sample[index + 1 :]


def _usual_width(cells: list[str], below: Sequence[TextRecord]) -> list[str]:
    """Return the heading's cells, without blank ones at the end that most rows do not have."""
    widths = [len(record.fields) for record in below if record.fields is not None]
    usual = max(set(widths), key=lambda width: (widths.count(width), width), default=len(cells))
    while len(cells) > usual and filled(cells[-1]) is None:
        cells = cells[:-1]
    return cells


def _rows_below(
    dialect: Dialect, text: str, heading: _Heading, width: int, refused: list[RefusedRow]
) -> Iterator[tuple[int, Sequence[str | None]]]:
    """Yield the rows below the heading; those that do not split into `width` fields go to `refused`."""
    for record in dialect.records(text):
        if record.line <= heading.line:
            continue
        reason = why_refused(record, width)
        if reason is None:
            yield record.line, (record.fields or [])[:width]
        elif any(filled(cell) for cell in record.fields or [record.text]):
            refused.append(RefusedRow(record.line, record.text.replace("\0", "␀"), reason))
