"""Compare headings as people write them: case, underscores, dots and brackets aside, with the unit taken out."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Sequence
from functools import lru_cache
from pathlib import Path

from ingest.record_model import Field, Kind, RecordType
from ingest.units_of_measure import spelled_unit

# Gives, for a file and a sheet, the sets of folded headings among which its heading row is looked for.
HeadingsKnown = Callable[[Path, str | None], Sequence[frozenset[str]]]

_BETWEEN_WORDS = re.compile(r"[\W_]+")
_IN_BRACKETS = re.compile(r"^(?P<base>.*\S)\s*[(\[](?P<unit>[^()\[\]]+)[)\]]\s*$")
_AFTER_SIGN = re.compile(r"^(?P<base>.*\S)\s*[,/]\s*(?P<unit>[^,/]+)$")
_LAST_WORD = re.compile(r"^(?P<base>.*\S)\s+(?P<unit>\S+)$")


@lru_cache(maxsize=8192)  # the same cells are compared with the headings of every record type
def fold_heading(text: str) -> str:
    """Return `text` as compared: lower case, everything but letters and digits a single space."""
    return _BETWEEN_WORDS.sub(" ", unicodedata.normalize("NFKC", text).casefold()).strip()


def fold_word(text: str) -> str:
    """Return a vocabulary spelling as compared: lower case, single spaces, underscores as spaces."""
    return " ".join(text.lower().replace("_", " ").split())


@lru_cache(maxsize=8192)
def split_unit(heading: str) -> tuple[str, str] | None:
    """Return the heading without its unit and the unit; None where it spells no unit that we know.

    The unit stands in round or square brackets, after a comma or slash, or as the last word.
    """
    for shape in (_IN_BRACKETS, _AFTER_SIGN, _LAST_WORD):
        found = shape.match(heading.strip())
        unit = spelled_unit(found["unit"]) if found else None
        if found and unit:
            return found["base"], unit
    return None


def bracketed(heading: str) -> tuple[str, str] | None:
    """Return the heading without its closing brackets and what stands in them; None where there are none."""
    found = _IN_BRACKETS.match(heading.strip())
    return (found["base"], found["unit"].strip()) if found else None


def names_of_field(field: Field) -> frozenset[str]:
    """Return the folded headings under which a field is understood without a mapping, units aside."""
    return frozenset(fold_heading(name) for name in (field.name, *field.headings))


def carries_unit(field: Field) -> bool:
    """Return whether a heading of the field may spell a unit."""
    return field.kind in (Kind.MEASURE, Kind.READING)


def known_headings(record: RecordType) -> frozenset[str]:
    """Return every folded heading that a record type understands, units aside."""
    return frozenset().union(*(names_of_field(field) for field in record.fields))


def count_known(cells: Sequence[str | None], known: frozenset[str]) -> int:
    """Return how many different known headings stand in a row of cells."""
    return _count_met(_may_mean(cells), known)


def _may_mean(cells: Sequence[str | None]) -> list[tuple[str, ...]]:
    """Return for each cell the folded headings that it may stand for, the likeliest first."""
    meant = []
    for cell in cells:
        if cell and len(cell) <= 80:
            parts = split_unit(cell) or bracketed(cell)
            meant.append((*([fold_heading(parts[0])] if parts else []), fold_heading(cell)))
    return meant


def _count_met(meant: Sequence[tuple[str, ...]], known: frozenset[str]) -> int:
    found = (next((name for name in names if name in known), None) for names in meant)
    return len(set(found) - {None})


def find_heading_row(rows: Sequence[Sequence[str | None]], known: Sequence[frozenset[str]]) -> tuple[int, int]:
    """Return the index of the row that is most likely the heading row, and how many known headings it holds.

    It is the first row that holds the most headings of any one record type (or mapping entry); where no row
    holds a known heading, the first row that is filled as widely as most and holds words only.
    """
    every = frozenset[str]().union(*known)
    meant = [[names for names in _may_mean(row) if not every.isdisjoint(names)] for row in rows]
    scores = [max((_count_met(names, one) for one in known), default=0) if names else 0 for names in meant]
    best = max(scores, default=0)
    if best:
        return scores.index(best), best
    widths = [sum(1 for cell in row if cell) for row in rows]
    usual = max(widths, key=lambda width: (widths.count(width), width), default=0)
    for index, row in enumerate(rows):
        if widths[index] >= usual and not any(looks_numeric(cell) for cell in row if cell):
            return index, 0
    return next((index for index, width in enumerate(widths) if width), 0), 0


def looks_numeric(cell: str) -> bool:
    """Return whether a cell is made of digits and the signs of numbers and dates only."""
    return any(sign.isdigit() for sign in cell) and not any(sign.isalpha() for sign in cell)


def unique_headings(cells: Sequence[str | None]) -> tuple[str, ...]:
    """Return one heading a column: a second 'km' becomes 'km#2', a blank one names its column's letter."""
    seen: dict[str, int] = {}
    made: list[str] = []
    for index, cell in enumerate(cells):
        text = " ".join(cell.split()) if cell and cell.strip() else f"(column {column_letter(index)})"
        seen[text] = seen.get(text, 0) + 1
        made.append(text if seen[text] == 1 else f"{text}#{seen[text]}")
    return tuple(made)


def column_letter(index: int) -> str:
    """Return the letter under which a spreadsheet shows the column with this index from 0."""
    letters = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        letters = chr(65 + rest) + letters
    return letters
