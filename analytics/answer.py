"""Hold an answer: the sentence, the rows, and everything needed to judge them."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import polars as pl


@dataclass(frozen=True)
class Assumption:
    """Hold one line of the assumption ledger.

    `included` and `left_out` count who is in and who is out under the rule; `alternative` names the other rule that
    could be taken and `moves` says how far the answer moves under it.
    """

    rule: str
    included: int | None = None
    left_out: int | None = None
    alternative: str | None = None
    moves: str | None = None


@dataclass(frozen=True)
class Column:
    """Describe one column of an answer's rows for people: its heading, what it is, its unit."""

    name: str
    heading: str
    about: str = ""
    unit: str = ""


@dataclass(frozen=True)
class Answer:
    """Hold the answer to one question.

    `sentence` answers in words, `number` is the one number to look at first (already worded, such as "7.9 %") with
    `number_about` beside it. `rows` is the table, one row per what `grain` says; `columns` describes its columns.
    `curves` holds further frames for charts, by name. Frames hold plain numbers, dates and null, never NaN.
    """

    question: str
    as_of: dt.date
    warehouse_version: int
    filters: Mapping[str, str]
    sentence: str
    method: str
    grain: str
    rows: pl.DataFrame
    columns: tuple[Column, ...]
    number: str = ""
    number_about: str = ""
    notes: tuple[str, ...] = ()
    assumptions: tuple[Assumption, ...] = ()
    curves: Mapping[str, pl.DataFrame] = field(default_factory=dict)

    def to_plain(self) -> dict[str, Any]:
        """Return the answer as plain numbers, texts, ISO dates and None, ready for JSON."""
        return {
            "question": self.question,
            "as_of": self.as_of.isoformat(),
            "warehouse_version": self.warehouse_version,
            "filters": dict(self.filters),
            "answer": self.sentence,
            "number": self.number,
            "number_about": self.number_about,
            "method": self.method,
            "grain": self.grain,
            "notes": list(self.notes),
            "assumptions": [
                {
                    "rule": line.rule,
                    "included": line.included,
                    "left_out": line.left_out,
                    "alternative": line.alternative,
                    "moves": line.moves,
                }
                for line in self.assumptions
            ],
            "columns": [{"name": c.name, "heading": c.heading, "about": c.about, "unit": c.unit} for c in self.columns],
            "rows": plain_rows(self.rows),
            "curves": {name: plain_rows(frame) for name, frame in self.curves.items()},
        }


def plain_rows(frame: pl.DataFrame) -> list[dict[str, Any]]:
    """Return the frame's rows as plain values; raises ValueError where a NaN or infinity would leave."""
    return [{name: _plain(name, value) for name, value in row.items()} for row in frame.iter_rows(named=True)]


def _plain(name: str, value: Any) -> Any:
    if isinstance(value, float) and not math.isfinite(value):
        raise ValueError(f"column '{name}' holds {value}; an answer holds plain numbers or nothing")
    if isinstance(value, dt.date | dt.datetime):
        return value.isoformat()
    return value
