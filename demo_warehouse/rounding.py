"""Round what is read to the division of the dial or clock that it is read from."""

from __future__ import annotations

from demo_warehouse.days import date_of

METRES_A_MILE = 1609.344
LAST_YEAR_OF_MILES = 2018


def on_scale(value: float, step: float) -> int:
    """Return the reading to the nearest division, in whole stored steps."""
    return round(round(value / step) * step)


def clock_metres(metres: float, day: int) -> int:
    """Return what is written on a job: whole miles until the workshop went over to kilometres, then those."""
    return on_scale(metres, METRES_A_MILE if date_of(day).year <= LAST_YEAR_OF_MILES else 1000.0)
