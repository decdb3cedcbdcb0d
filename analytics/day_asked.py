"""Settle the day as of which a question is asked."""

from __future__ import annotations

import datetime as dt

from analytics.question import QuestionError
from analytics.warehouse_file import Warehouse


def day_asked(warehouse: Warehouse, given: dt.date | None, today: dt.date) -> dt.date:
    """Return the day asked, or the last day on record where none is given (today at the latest).

    After the last day on record nothing is known: a workshop that is behind with loading has not stopped working, so
    that silence must not be read as a fall. Raises QuestionError where the day given lies in the future.
    """
    if given is not None:
        if given > today:
            raise QuestionError(f"as of {given} lies in the future: nobody knows yet what will be on record then")
        return given
    latest = warehouse.query("select latest from warehouse_format")["latest"][0]
    return today if latest is None else min(latest, today)
