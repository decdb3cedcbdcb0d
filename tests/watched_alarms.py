"""Answer the watch list by hand with alarms that come, go and are acknowledged while pages are open."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import polars as pl

from analytics import watch as watch_question
from analytics.answer import Answer
from analytics.history import History
from analytics.question import Option, Question
from analytics.watch_acknowledged import read_acknowledged
from tests.answers_by_hand import first_jobs, questions_by_hand

RAISED = {
    "findings / K4 / synchroniser ring / wear": dt.date(2024, 6, 20),
    "findings / K4 / slider / wear": dt.date(2024, 6, 12),
    "lots / North Rings / RING-2 / 24-07": dt.date(2024, 6, 2),
}
RING, SLIDER, LOT = RAISED
WORDS = {RING: "synchroniser ring of K4: wear found", SLIDER: "slider of K4: wear found", LOT: "lot 24-07 comes back"}


@dataclass
class Alarms:
    """Hold the alarms that ring now; a test may change them, as a load would, and ask for the pages' questions."""

    raised: dict[str, dt.date] = field(default_factory=lambda: dict(RAISED))
    seen: int = 6

    def watch(self, history: History, options: Mapping[str, str]) -> Answer:
        """Answer `watch`: those not acknowledged first, the newest first."""
        done = {(one.chart, one.raised): one for one in read_acknowledged(options.get("acknowledged"), history.as_of)}
        rows = [
            {"chart": chart, "what": WORDS[chart], "kind": "findings", "since": dt.date(2024, 5, 1), "raised": raised,
             "seen": self.seen, "expected": 0.8, "ratio": 7.5, "low": 2.8, "high": 16.3}
            | ({"acknowledged_on": done[chart, raised].acknowledged_on, "note": done[chart, raised].note}
               if (chart, raised) in done else {})
            for chart, raised in self.raised.items()
        ]  # fmt: skip
        rows.sort(key=lambda row: ("note" in row, -row["raised"].toordinal()))  # type: ignore[attr-defined]
        frame = pl.DataFrame(
            [{name: row.get(name) for name in watch_question.SCHEMA} for row in rows], schema=watch_question.SCHEMA
        )
        return replace(questions_by_hand()["watch"].ask(history, {}), rows=frame)

    def questions(self) -> dict[str, Question]:
        """Return the questions answered by hand, the watch list among them."""
        asked = questions_by_hand()
        acknowledged = Option("acknowledged", "what was acknowledged", shown=False)
        return asked | {
            "watch": replace(asked["watch"], ask=self.watch, options=(acknowledged,), jobs_behind=first_jobs)
        }
