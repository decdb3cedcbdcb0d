"""Say values as people in the workshop read them."""

from __future__ import annotations

import datetime as dt
from typing import Any

NOT_KNOWN = "–"
MICROMETRES = "um"  # kept in whole micrometres, read in millimetres

_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def said(value: Any, unit: str = "") -> str:
    """Return `value` in words: shares as per cent, days as 3 Mar 2024, codes without underscores, nothing as a dash."""
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
    return str(value).replace("_", " ")


def said_sentence(text: str) -> str:
    """Return `text` as a sentence: a capital first, a stop last."""
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "?", "!")) else ".")


def said_day(day: dt.date) -> str:
    """Return a day as 3 Mar 2024."""
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"


def said_range(value: Any, low: Any, high: Any, unit: str = "") -> str:
    """Return an estimate with its interval, such as '7.9 % (5.1 to 11.8)'."""
    middle = said(value, unit)
    if low is None and high is None:
        return middle
    ends = [said(end, unit).removesuffix(" %") if end is not None else "no limit" for end in (low, high)]
    return f"{middle} ({ends[0]} to {ends[1]})"


def read_unit(unit: str) -> str:
    """Return the unit in which people read what is kept in `unit`; empty where the value says it by itself."""
    return {"share": "", "money": "", "factor": "", MICROMETRES: "mm"}.get(unit, unit)


def _said_number(value: float, unit: str) -> str:
    if unit == "share":
        return f"{100 * value:.1f} %"
    if unit == "money":
        return f"{value:,.2f}"
    if unit == MICROMETRES:
        return f"{value / 1000:.3f}"
    if value == int(value) or abs(value) >= 1000:
        return f"{value:,.0f}"
    if abs(value) >= 100:
        return f"{value:,.1f}"
    return f"{value:,.2f}" if abs(value) >= 0.1 else f"{value:.3g}"
