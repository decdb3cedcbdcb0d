"""Find out how a text file writes its numbers and dates, from the file's own values, or refuse to guess."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from ingest.plan import LoadError

_GROUPS = {mark: re.compile(rf"^[-+]?\d{{1,3}}(\{mark}\d{{3}})+$") for mark in ".,"}
_TWO_GROUPS = {mark: re.compile(rf"^[-+]?\d{{1,3}}(\{mark}\d{{3}}){{2,}}$") for mark in ".,"}
_DATE = re.compile(r"^(\d{1,2})([./-])(\d{1,2})\2(\d{2}|\d{4})$")


@dataclass(frozen=True)
class NumberEvidence:
    """Hold what the values of one column say about the decimal mark: values that settle it, and one that does not."""

    point: str | None = None
    comma: str | None = None
    either: str | None = None


def number_evidence(values: Iterable[str]) -> NumberEvidence:
    """Return what `values` (texts with a comma or a point in them) say about the decimal mark.

    '1.250' and '1,250' say nothing alone: one and a quarter, or one thousand two hundred and fifty.
    """
    point = comma = either = None
    for value in values:
        text = value.replace(" ", "").replace("\u00a0", "").replace("'", "")
        marks = {mark for mark in ".," if mark in text}
        if marks == {".", ","}:
            if text.rfind(".") > text.rfind(","):
                point = point or value
            else:
                comma = comma or value
        elif len(marks) == 1:
            mark = marks.pop()
            other = "," if mark == "." else "."
            if _TWO_GROUPS[mark].match(text):
                settles = other
            elif _GROUPS[mark].match(text) and not text.lstrip("+-").startswith("0"):
                either = either or value
                continue
            else:
                settles = mark
            if settles == ".":
                point = point or value
            else:
                comma = comma or value
    return NumberEvidence(point, comma, either)


def decimal_mark(place: str, evidence: dict[str, NumberEvidence]) -> str:
    """Return the decimal mark of a file from the evidence of its number columns (heading -> evidence).

    Raises LoadError where columns contradict each other, or where none settles it and one needs it settled.
    """
    points = {heading: found.point for heading, found in evidence.items() if found.point}
    commas = {heading: found.comma for heading, found in evidence.items() if found.comma}
    if points and commas:
        (first, a), (second, b) = next(iter(points.items())), next(iter(commas.items()))
        raise LoadError(
            f"{place}: column '{first}' writes decimals with a point ('{a}') and column '{second}' with a comma "
            f'(\'{b}\'); say which in the mapping: decimal = "." or decimal = ","'
        )
    if commas:
        return ","
    if points:
        return "."
    for heading, found in evidence.items():
        if found.either:
            raise LoadError(
                f"{place}, column '{heading}': '{found.either}' can be read in two ways and no other value settles "
                f'it; say it in the mapping: decimal = "." or decimal = ","'
            )
    return "."


def date_order(place: str, heading: str, values: Iterable[str]) -> str:
    """Return "day" or "month": which comes first in the dates of one column that are not written year first.

    Dates with points between are read day first (the only order in which they are written so).
    Raises LoadError where values contradict each other or none settles it.
    """
    day = month = either = None
    for value in values:
        found = _DATE.match(value.strip())
        if not found:
            continue
        first, mark, second = int(found[1]), found[2], int(found[3])
        if mark == "." or first > 12:
            day = day or value
        elif second > 12:
            month = month or value
        elif first != second:
            either = either or value
    if day and month:
        raise LoadError(
            f"{place}, column '{heading}': '{day}' has the day first and '{month}' the month; "
            f'say which in the mapping: date_order = "day" or date_order = "month"'
        )
    if either and not day and not month:
        raise LoadError(
            f"{place}, column '{heading}': '{either}' can be read day first or month first and no other value "
            f'settles it; say it in the mapping: date_order = "day" or date_order = "month"'
        )
    return "month" if month else "day"
