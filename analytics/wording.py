"""Word numbers for people, the same way in every answer."""

from __future__ import annotations

import datetime as dt


def percent(share: float, digits: int = 1) -> str:
    """Return a share as a percentage."""
    return f"{100 * share:.{digits}f} %"


def between(low: float, high: float, digits: int = 1) -> str:
    """Return an interval of shares as percentages."""
    return f"{100 * low:.{digits}f} to {100 * high:.{digits}f} %"


def count_of(number: int, one: str, many: str | None = None) -> str:
    """Return a count with its noun."""
    return f"{number:,} {one if number == 1 else (many or one + 's')}"


def day(value: dt.date) -> str:
    """Return a day as people write it."""
    return f"{value.day} {value:%B %Y}"


def millimetres(micrometres: float) -> str:
    """Return a signed length in mm from micrometres."""
    return f"{micrometres / 1000:+.3f} mm"
