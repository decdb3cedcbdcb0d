"""Fill in what does not matter in an answer written by hand."""

from __future__ import annotations

import polars as pl

from analytics.answer import Answer, Assumption, Column
from analytics.history import History


def answer_of(
    question: str, history: History, rows: pl.DataFrame, columns: tuple[Column, ...], **more: object
) -> Answer:
    """Return an answer with everything that does not matter filled in."""
    told: dict[str, object] = {
        "sentence": "Second synchroniser rings are found failed most often: 88 of 260 inspected.",
        "number": "33.8 %",
        "number_about": "of inspected second rings found failed",
        "method": "Share failed among positions inspected in full teardowns; Wilson limits.",
        "grain": "one for each position",
        "notes": ("Part rebuilds are not counted.",),
        "assumptions": (Assumption("full teardowns only", 472, 120, "part rebuilds too", "33.8 % becomes 41.0 %"),),
    }
    return Answer(
        question, history.as_of, history.warehouse.version, history.scope.filters(), rows=rows, columns=columns,
        **{**told, **more},  # type: ignore[arg-type]
    )  # fmt: skip
