"""Read which alarms people have acknowledged: plain text handed in, since this room keeps nothing."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterable
from dataclasses import dataclass

from analytics.day_asked import typed_day
from analytics.question import QuestionError

FIELDS = ("chart", "raised", "acknowledged_on", "note", "by")


@dataclass(frozen=True)
class Acknowledged:
    """Hold one acknowledgement: the chart's key, the day its alarm was raised, when and why it was acknowledged."""

    chart: str
    raised: dt.date
    acknowledged_on: dt.date
    note: str
    by: str = ""


def read_acknowledged(text: str | None, as_of: dt.date) -> tuple[Acknowledged, ...]:
    """Return the acknowledgements in a JSON list, those made after `as_of` left out; raises QuestionError."""
    if not text:
        return ()
    try:
        made = [
            Acknowledged(
                str(row["chart"]),
                typed_day(row["raised"]),
                typed_day(row["acknowledged_on"]),
                str(row.get("note", "")),
                str(row.get("by", "")),
            )
            for row in json.loads(text)
        ]
    except (ValueError, KeyError, TypeError, AttributeError) as fault:
        raise QuestionError(f"'acknowledged' takes a JSON list of rows with {', '.join(FIELDS)}: {fault}") from fault
    return tuple(row for row in made if row.acknowledged_on <= as_of)


def written_acknowledged(rows: Iterable[Acknowledged]) -> str:
    """Return the acknowledgements as a JSON list, in one order whatever theirs was."""
    told = [{name: str(getattr(row, name)) for name in FIELDS} for row in rows]
    return json.dumps(sorted(told, key=lambda row: tuple(row.values())), ensure_ascii=False) if told else ""
