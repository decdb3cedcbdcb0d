"""Find out how a text file writes its numbers and dates, from the file's own values, or refuse to guess."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from ingest.plan import LoadError

_BLANKS = str.maketrans("", "", " \u00a0'")
# A number whose decimal mark is `d` and whose thousands are grouped with `g`; a group never begins with a zero.
_NUMBER = {
    mark: re.compile(rf"[-+]?(\d*|[1-9]\d{{0,2}}(\{other}\d{{3}})+)(\{mark}\d*)?") for mark, other in (".,", ",.")
}
_DATE = re.compile(r"^(\d{1,2})([./-])(\d{1,2})\2(\d{2}|\d{4})$")


@dataclass(frozen=True)
class NumberEvidence:
    """Hold what the values of one column say about the decimal mark: values that settle it, and one that does not."""

    point: str | None = None
    comma: str | None = None
    either: str | None = None


def number_evidence(values: Iterable[str]) -> NumberEvidence:
    """Return what `values` say about the decimal mark; texts that are no number either way say nothing.

    '1.250' and '1,250' say nothing alone: one and a quarter, or one thousand two hundred and fifty.
    """
    first: dict[str, str] = {}
    for value in values:
        text = value.translate(_BLANKS)
        if not any(mark in text for mark in ".,"):
            continue
        marks = [mark for mark in ".," if _NUMBER[mark].fullmatch(text)]
        if marks:
            first.setdefault(marks[0] if len(marks) == 1 else "either", value)
    return NumberEvidence(first.get("."), first.get(","), first.get("either"))


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


def _orders(first: int, mark: str, second: int, third: str) -> frozenset[str]:
    """Return the orders in which a date may be written that begins with at most two digits."""
    if len(third) == 2 and mark == "-":  # 20-04-03: the year may come first
        orders = {"day", "month", "year"}
        if int(third) > 31:
            orders.discard("year")
    else:
        orders = {"day"} if mark == "." else {"day", "month"}
        if len(third) == 2 and first > 31:
            orders.add("year")
    if first > 12:
        orders.discard("month")
    if first > 31:
        orders.discard("day")
    if second > 12:
        orders &= {"month"}
    return frozenset(orders)


def date_order(place: str, heading: str, values: Iterable[str]) -> str:
    """Return "day", "month" or "year": what comes first in the dates of one column that are not plainly year first.

    Dates with points between are read day first (the only order in which they are written so).
    Raises LoadError where values contradict each other or none settles it.
    """
    possible: frozenset[str] | None = None
    told: dict[frozenset[str], str] = {}
    for value in values:
        found = _DATE.match(value.strip())
        if not found:
            continue
        first, second = int(found[1]), int(found[3])
        orders = _orders(first, found[2], second, found[4])
        if not orders:
            continue  # no date in any order: the row says so
        if first == second and orders == {"day", "month"}:
            continue  # the same day either way
        told.setdefault(orders, value)
        possible = orders if possible is None else possible & orders
    if possible is None:
        return "day"
    if not possible:
        (one, a), (other, b) = _contradicting(told)
        raise LoadError(
            f"{place}, column '{heading}': '{a}' has the {one} first and '{b}' the {other}; "
            f'say which in the mapping: date_order = "{one}" or date_order = "{other}"'
        )
    if len(possible) > 1:
        ways = sorted(possible)
        raise LoadError(
            f"{place}, column '{heading}': '{next(iter(told.values()))}' can be read {' first or '.join(ways)} first "
            f"and no other value settles it; say it in the mapping: "
            f"date_order = {' or date_order = '.join(chr(34) + way + chr(34) for way in ways)}"
        )
    return next(iter(possible))


def _contradicting(told: dict[frozenset[str], str]) -> tuple[tuple[str, str], tuple[str, str]]:
    """Return two orders that no date shares, each with a value that shows it."""
    pairs = [(a, b) for a in told for b in told if not a & b]
    first, second = pairs[0] if pairs else (next(iter(told)), list(told)[-1])
    return (min(first), told[first]), (min(second), told[second])
