"""Count lives by the distance run, or by the hours of units that carry an hour meter."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

import polars as pl

from analytics.answer import Answer
from analytics.question import Option

CLOCK_OPTION = Option(
    "clock", "what a life is counted in: km run, or running hours of units with an hour meter", ("km", "hours"), "km"
)
_WORDS = (
    (r"\bkm\b", "h"),
    (r"\bDistance is the unit's own\b", "Hours are the unit's own"),
    (r"\bdistance is not known\b", "hours are not known"),
    (r"\bdistance the unit runs in a year\b", "hours the unit runs in a year"),
    (r"\bread off the odometer\b", "read off the hour meter"),
    (r"\bhad run no distance\b", "had run no hours"),
    (r"\blongest distance\b", "most hours"),
    (r"\bA distance more than\b", "Hours more than"),
    (r"\blongest one seen is not given\b", "most seen are not given"),
    (r"\bDistance known\b", "Hours known"),
    (r"\ba distance that was\b", "hours that were"),
    (r"\bdistance when it began is\b", "hours when it began are"),
    (r"\bdistances?\b", "hours"),
    (r"\btimes as far\b", "times as long"),
    (r"\bTimes as far\b", "Times as long"),
    (r"\bas far as\b", "as long as"),
    (r"\bhow far it has run\b", "how long it has run"),
)


@dataclass(frozen=True)
class LifeClock:
    """Hold one clock: its name, the mart of looks at lives by it, and how many of its steps make one of its unit.

    Steps are metres (1,000 to the km) or minutes (60 to the hour).
    """

    name: str
    mart: str
    per_unit: float
    unit: str


KM = LifeClock("km", "known_life_inspection", 1000.0, "km")
HOURS = LifeClock("hours", "known_life_inspection_hours", 60.0, "h")


def clock_of(name: str) -> LifeClock:
    """Return the clock of that name (km or hours)."""
    return {clock.name: clock for clock in (KM, HOURS)}[name]


def told_by(clock: LifeClock, answer: Answer) -> Answer:
    """Return the answer with its units and wording in the clock's; as it is for km."""
    if clock is KM:
        return answer
    rows = answer.rows
    texts = [name for name in ("said",) if name in rows.columns]
    return replace(
        answer,
        sentence=_in_hours(answer.sentence),
        number=_in_hours(answer.number),
        number_about=_in_hours(answer.number_about),
        method=_in_hours(answer.method),
        notes=tuple(_in_hours(note) for note in answer.notes),
        rows=rows.with_columns(pl.Series(t, [_maybe(v) for v in rows[t]], dtype=pl.String) for t in texts),
        columns=tuple(
            replace(c, heading=_in_hours(c.heading), about=_in_hours(c.about), unit="h" if c.unit == "km" else c.unit)
            for c in answer.columns
        ),
        assumptions=tuple(
            replace(a, rule=_in_hours(a.rule), alternative=_maybe(a.alternative), moves=_maybe(a.moves))
            for a in answer.assumptions
        ),
    )


def _maybe(text: str | None) -> str | None:
    return None if text is None else _in_hours(text)


def _in_hours(text: str) -> str:
    for word, instead in _WORDS:
        text = re.sub(word, instead, text)
    return text
