"""Read a day as a person types it, and settle the day as of which a question is asked."""

from __future__ import annotations

import datetime as dt
import re

from analytics.question import QuestionError
from analytics.warehouse_file import Warehouse

_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)


def typed_day(text: str) -> dt.date:
    """Return the day that a text like 2024-03-31 names.

    Raises ValueError for any other way of writing one (20240331, 2024-W13), which people read in more than one way.
    """
    if not _DAY.fullmatch(text):
        raise ValueError(f"'{text[:40]}' is no day; expected one like 2024-03-31")
    return dt.date.fromisoformat(text)


def day_asked(warehouse: Warehouse, given: dt.date | None, today: dt.date) -> dt.date:
    """Return the day asked, or the last day on record where none is given (today at the latest).

    After the last day on record nothing is known: a workshop that is behind with loading has not stopped working, so
    that silence must not be read as a fall. Raises QuestionError where the day given lies in the future, or before the
    first job on record: that nothing was known then says nothing of the workshop.
    """
    if given is not None:
        if given > today:
            raise QuestionError(f"as of {given} lies in the future: nobody knows yet what will be on record then")
        first = warehouse.kept.get("first day", lambda: _first_day(warehouse))
        if first is not None and given < first:
            raise QuestionError(f"the records begin on {first}, with the first job: nothing is known as of {given}")
        return given
    latest = warehouse.query("select latest from warehouse_format")["latest"][0]
    return today if latest is None else min(latest, today)


def _first_day(warehouse: Warehouse) -> dt.date | None:
    first: dt.date | None = warehouse.query("select min(known_on) as day from job")["day"][0]
    return first
