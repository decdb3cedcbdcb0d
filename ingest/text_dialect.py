"""Split delimited text into records and find out its delimiter, quote and heading row."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

from ingest.heading_text import find_heading_row, looks_numeric
from ingest.mapping import ReadingOptions
from ingest.plan import LoadError
from ingest.raw_table import filled

DELIMITERS = (",", ";", "\t", "|")
_NAMES = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}


@dataclass(frozen=True)
class TextRecord:
    """Hold one record of a text file: the line on which it begins, its text and its fields.

    `fields` is None where a quoted field is not closed properly; `text` is then that one line.
    """

    line: int
    text: str
    fields: list[str] | None


@dataclass(frozen=True)
class Dialect:
    """Hold how a text file separates and quotes its fields ("" for no quotes)."""

    delimiter: str
    quote: str

    def records(self, text: str) -> Iterator[TextRecord]:
        """Yield the records of `text`, whose lines end in a plain newline; blank lines are no records."""
        record, cell = _patterns(self.delimiter, self.quote)
        position, line, end = 0, 1, len(text)
        while position < end:
            found = record.match(text, position)
            stop = found.end() if found else _line_end(text, position)
            whole = text[position:stop]
            if whole.strip():
                yield TextRecord(line, whole, self._fields(whole, cell) if found else None)
            line += whole.count("\n") + 1
            position = stop + 1

    def _fields(self, record: str, cell: re.Pattern[str]) -> list[str]:
        if not self.quote or self.quote not in record:
            return record.split(self.delimiter)
        doubled = self.quote * 2
        return [
            plain if plain is not None else (quoted or "").replace(doubled, self.quote)
            for quoted, plain in (found.groups() for found in cell.finditer(record))
        ]


def _line_end(text: str, position: int) -> int:
    end = text.find("\n", position)
    return len(text) if end < 0 else end


@lru_cache
def _patterns(delimiter: str, quote: str) -> tuple[re.Pattern[str], re.Pattern[str]]:
    """Return the pattern of a record and of one field in it; blanks around a quoted field are allowed."""
    d, q = re.escape(delimiter), re.escape(quote)
    if not quote:
        return re.compile(r"[^\n]*+"), re.compile("(?!)")
    quoted = rf"[ ]*+{q}(?:[^{q}]|{q}{q})*+{q}[ ]*+"
    plain = rf"(?![ ]*+{q})[^{d}\n]*+"
    one = rf"(?>{quoted}|{plain})"
    record = re.compile(rf"{one}(?:{d}{one})*+(?=\n|\Z)")
    cell = re.compile(rf"(?:\A|(?<={d}))(?>[ ]*+{q}((?:[^{q}]|{q}{q})*+){q}[ ]*+(?={d}|\Z)|([^{d}]*+))")
    return record, cell


def why_refused(record: TextRecord, width: int) -> str | None:
    """Return why a record is not a row of the table, or None where it is one; blank fields beyond it do no harm."""
    if record.fields is None:
        return "a quote is not closed, or text follows a closing quote"
    if "\0" in record.text:
        return "holds a NUL byte: the file was damaged here"
    if len(record.fields) < width or any(filled(cell) for cell in record.fields[width:]):
        return f"expected {width} fields as in the heading, found {len(record.fields)}"
    return None


@dataclass(frozen=True)
class _Reading:
    """Hold how one dialect reads the sample, to be compared with others."""

    dialect: Dialect
    known: int
    worded: bool
    agreement: float
    width: int

    @property
    def rank(self) -> tuple[int, bool, float, int]:
        return self.known, self.worded, self.agreement, self.width


def find_dialect(place: str, sample: str, options: ReadingOptions, known: Sequence[frozenset[str]]) -> Dialect:
    """Return the dialect under which the sample reads as a table; what the mapping declares is taken as it is.

    A reading ranks by the known headings it yields, then by a heading row of words, then by the share of records
    with one number of fields, then by that number. Raises LoadError where two delimiters rank alike.
    """
    # A delimiter that is nowhere in the sample would read it as one column.
    delimiters = (options.delimiter,) if options.delimiter else tuple(d for d in DELIMITERS if d in sample)
    quotes = (options.quote,) if options.quote is not None else _quotes_to_try(sample)
    readings = [_read_sample(Dialect(d, q), sample, known) for d in delimiters for q in quotes if d != q]
    if options.delimiter is None:
        readings = [one for one in readings if one.width > 1]
        if not readings:
            return _single_column(place, sample, quotes[0], known)
    best = max(readings, key=lambda one: one.rank)
    tied = [one for one in readings if one.rank == best.rank and one.dialect.delimiter != best.dialect.delimiter]
    if tied:
        names = f"{_NAMES[best.dialect.delimiter]} or {_NAMES[tied[0].dialect.delimiter]}"
        raise LoadError(f"{place}: cannot tell whether {names} separates the columns; say delimiter = ... in a mapping")
    return best.dialect


def _quotes_to_try(sample: str) -> tuple[str, ...]:
    return ('"',) if '"' in sample or "'" not in sample else ('"', "'")


def _single_column(place: str, sample: str, quote: str, known: Sequence[frozenset[str]]) -> Dialect:
    dialect = Dialect(",", quote)
    if _read_sample(dialect, sample, known).known:
        return dialect
    raise LoadError(f"{place}: found no columns; expected text separated by comma, semicolon, tab or bar")


def _read_sample(dialect: Dialect, sample: str, known: Sequence[frozenset[str]]) -> _Reading:
    rows = [record.fields or [] for record in dialect.records(sample)]
    widths = [len(row) for row in rows]
    if not rows:
        return _Reading(dialect, 0, False, 0.0, 0)
    index, matches = find_heading_row(rows[:40], known)
    below = widths[index + 1 :] or [widths[index]]
    usual = max(set(below), key=lambda width: (below.count(width), width))
    width = widths[index] if widths[index] in (usual, usual + 1, usual - 1) else usual
    worded = not any(looks_numeric(cell) for cell in rows[index]) and widths[index] == width
    return _Reading(dialect, matches, worded, below.count(usual) / len(below), min(usual, widths[index]))
