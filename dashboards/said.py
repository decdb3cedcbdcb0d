"""Say values as people in the workshop read them."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

NOT_KNOWN = "–"
MICROMETRES = "um"  # kept in whole micrometres, read in millimetres

_CODE = re.compile(r"[a-z]+(_[a-z]+)+")  # a vocabulary's word, not a name
_WITH_UNIT = re.compile(r"(\d) (%|mm|km|h\b|N·m|months|jobs|pieces)")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def said(value: Any, unit: str = "") -> str:
    """Return `value` in words: shares in per cent, days as 3 Mar 2024, codes without underscores, nothing as a dash."""
    if value is None:
        return NOT_KNOWN
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dt.datetime):
        return f"{said_day(value.date())}, {value:%H:%M}"
    if isinstance(value, dt.date):
        return said_day(value)
    if isinstance(value, int | float):
        return _said_number(float(value), unit).replace("-", "−")
    text = str(value)
    return text.replace("_", " ") if _CODE.fullmatch(text) else text


def said_sentence(text: str) -> str:
    """Return `text` as a sentence: a capital first, a stop last."""
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "?", "!")) else ".")


def said_together(text: str) -> str:
    """Return `text` with numbers and their units kept on one line."""
    return _WITH_UNIT.sub("\\1\u00a0\\2", text)


def said_day(day: dt.date) -> str:
    """Return a day as 3 Mar 2024."""
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"


def said_range(value: Any, low: Any, high: Any, unit: str = "") -> str:
    """Return an estimate with its interval to the same decimals, such as '7.9 % (5.1 to 11.8)'."""
    if value is None or (low is None and high is None):
        return said(value, unit)
    digits = _decimals(float(value), unit)
    middle, *ends = [
        "no limit" if number is None
        # Limits of a count are whole numbers, whatever the decimals of what is expected.
        else _said_number(float(number), unit, None if isinstance(number, int) and not isinstance(value, int) else digits)
        for number in (value, low, high)
    ]  # fmt: skip
    return f"{middle} ({ends[0].removesuffix(' %')} to {ends[1].removesuffix(' %')})".replace("-", "−")


def read_unit(unit: str) -> str:
    """Return the unit in which people read what is kept in `unit`; empty where the value says it by itself."""
    return {"share": "", "money": "", "factor": "", "year": "", MICROMETRES: "mm"}.get(unit, unit)


def _said_number(value: float, unit: str, digits: int | None = None) -> str:
    if unit == "year":
        return f"{value:.0f}"
    if unit == "share":
        return f"{100 * value:.1f} %"
    if unit == "money":
        return f"{value:,.2f}"
    if unit == MICROMETRES:
        return f"{value / 1000:.3f}"
    if digits is None and value == int(value):
        return f"{value:,.0f}"
    return f"{value:,.{_decimals(value, unit) if digits is None else digits}f}"


def _decimals(value: float, unit: str) -> int:
    """Return how many decimals a number of this size is said to, three at most."""
    size = abs(value)
    if unit == "factor":
        return 2
    return 0 if size >= 1000 else 1 if size >= 100 else 2 if size >= 0.1 else 3
