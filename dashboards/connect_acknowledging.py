"""Connect the form that acknowledges an alarm with the file that keeps it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

import dash
from dash import MATCH, Input, Output, State, html, no_update

from analytics.answer import Answer
from analytics.question import QuestionError
from analytics.watch_acknowledged import Acknowledged
from dashboards.acknowledge_form import QUESTION
from dashboards.acknowledgements import Acknowledgements
from dashboards.address import changed, read_view
from dashboards.asking import Asking
from dashboards.connect_sections import answered, section_of
from dashboards.in_words import in_words
from dashboards.section_view import refused


def connect_acknowledging(app: dash.Dash, asking: Asking) -> None:
    """Write an acknowledgement and answer its section anew."""

    @app.callback(
        Output(_part("answer"), "data", allow_duplicate=True),
        Output(_part("behind"), "children", allow_duplicate=True),
        Output(_part("refused"), "children"),
        Input(_part("acknowledge"), "n_clicks"),
        State(_part("note"), "value"),
        State(_part("picked"), "data"),
        State("address", "search"),
        State(_part("acknowledge"), "id"),
        prevent_initial_call=True,
    )
    def acknowledge(
        clicks: int | None, note: str | None, picked: Mapping[str, Any] | None, search: str | None,
        button_id: Mapping[str, str],
    ) -> tuple[Any, Any, Any]:  # fmt: skip
        if not clicks:
            return no_update, no_update, no_update
        return in_words(
            lambda: _acknowledged(asking, button_id, note or "", picked, search or ""),
            lambda why: (no_update, no_update, refused(why)),
        )


def _part(part: str) -> dict[str, Any]:
    return {"part": part, "section": MATCH}


def _acknowledged(
    asking: Asking, button_id: Mapping[str, str], note: str, picked: Mapping[str, Any] | None, search: str
) -> tuple[Any, Any, Any]:
    _, section = section_of(button_id)
    if section.question != QUESTION or not picked or changed(picked.get("search"), {}) != changed(search, {}):
        raise QuestionError("choose the alarm to acknowledge first")
    answer = asking.answer(section, read_view(search)).answer
    number = picked.get("row")
    if not isinstance(number, int) or not 0 <= number < answer.rows.height:
        raise QuestionError("choose the alarm to acknowledge first")
    Acknowledgements(asking.records.folder).acknowledge(_one(answer, number, note))
    return answered(asking, button_id, search), [html.P("Acknowledged.", className="hint")], []


def _one(answer: Answer, number: int, note: str) -> Acknowledged:
    row = answer.rows.row(number, named=True)
    raised: dt.date = row["raised"]
    return Acknowledged(row["chart"], raised, answer.as_of, note)
