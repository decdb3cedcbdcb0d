"""Count days as whole numbers since 1970-01-01, as the simulation does throughout."""

from __future__ import annotations

from datetime import date, timedelta

EPOCH = date(1970, 1, 1)
DAYS_A_MONTH = 30.4375
DAYS_A_YEAR = 365.25


def day_of(when: date) -> int:
    """Return the day number of a date."""
    return (when - EPOCH).days


def date_of(day: int) -> date:
    """Return the date of a day number."""
    return EPOCH + timedelta(days=int(day))


def years_since(day: int, origin: int) -> float:
    """Return the years from `origin` to `day`."""
    return (day - origin) / DAYS_A_YEAR
