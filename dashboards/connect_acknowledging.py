"""Connect the form that acknowledges an alarm with the file that keeps it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

import dash
import polars as pl
from dash import MATCH, Input, Output, State, html, no_update
from dash.development.base_component import Component

from analytics.answer import Answer
from analytics.question import QuestionError
from analytics.watch_acknowledged import Acknowledged
from dashboards.acknowledge_form import QUESTION
from dashboards.acknowledgements import Acknowledgements
from dashboards.address import read_view
from dashboards.asking import Asking
from dashboards.connect_sections import answered, section_of
from dashboards.in_words import in_words
from dashboards.said import said_day
from dashboards.section_view import refused


def connect_acknowledging(app: dash.Dash, asking: Asking) -> None:
    """Write an acknowledgement and answer its section anew."""

    @app.callback(
        Output(_part("answer"), "data", allow_duplicate=True),
        Output(_part("behind"), "children", allow_duplicate=True),
        Output(_part("refused"), "children"),
        Input(_part("acknowledge"), "n_clicks"),
        Input(_part("note"), "n_submit"),
        State(_part("note"), "value"),
        State(_part("alarm"), "data"),
        State("address", "search"),
        State(_part("acknowledge"), "id"),
        prevent_initial_call=True,
    )
    def acknowledge(
        clicks: int | None, entered: int | None, note: str | None, alarm: Mapping[str, str] | None, search: str | None,
        button_id: Mapping[str, str],
    ) -> tuple[Any, Any, Any]:  # fmt: skip
        if not alarm or not (clicks or entered):
            return no_update, no_update, no_update
        return in_words(
            lambda: _acknowledged(asking, button_id, note or "", alarm, search or ""),
            lambda why: (no_update, no_update, refused(why)),
        )


def _part(part: str) -> dict[str, Any]:
    return {"part": part, "section": MATCH}


def _acknowledged(
    asking: Asking, button_id: Mapping[str, str], note: str, alarm: Mapping[str, str], search: str
) -> tuple[Any, Any, Any]:
    """Return the list as it is now and what was done; an alarm that no longer waits is left as it is."""
    _, section = section_of(button_id)
    if section.question != QUESTION:
        raise QuestionError("only alarms of the watch list can be acknowledged")
    answer = asking.answer(section, read_view(search)).answer
    row = _row_of(answer, alarm["chart"], dt.date.fromisoformat(alarm["raised"]))
    told: list[Component]
    if row is None:
        told = refused("the records changed since this page was shown; this alarm is no longer on the list")
    elif row["acknowledged_on"] is not None:
        on = said_day(row["acknowledged_on"])
        told = refused(f"this alarm was acknowledged already, on {on}: {row['note']}. Nothing was written")
    else:
        one = Acknowledged(row["chart"], row["raised"], answer.as_of, note)
        Acknowledgements(asking.records.folder).acknowledge(one)
        told = [html.P("Acknowledged.", className="hint")]
    return answered(asking, button_id, search), told, []


def _row_of(answer: Answer, chart: str, raised: dt.date) -> Mapping[str, Any] | None:
    found = answer.rows.filter(pl.col("chart") == chart, pl.col("raised") == raised)
    return found.row(0, named=True) if found.height else None
