"""Let people acknowledge an alarm with a note, where its jobs are shown."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dash import dcc, html
from dash.development.base_component import Component

from dashboards.page import Page, Section
from dashboards.said import said_day
from dashboards.section_view import section_id

QUESTION = "watch"


def acknowledge_form(page: Page, section: Section, row: Mapping[str, Any]) -> list[Component]:
    """Return the form for the alarm of a row, or what was said of it already; nothing for other questions.

    The form holds which alarm it is for, by its chart and the day it was raised: the list may change while it is open.
    """
    if section.question != QUESTION:
        return []
    if row.get("acknowledged_on") is not None:
        return [html.P(f"Acknowledged on {said_day(row['acknowledged_on'])}: {row['note']}", className="hint")]
    alarm = {"chart": row["chart"], "raised": row["raised"].isoformat()}
    label = html.Label(
        [
            "What was done about it",
            html.Small("Its months then no longer count as ordinary work."),
            dcc.Input(id=section_id("note", page, section), type="text"),
        ],
        className="control",
    )
    button = html.Button("Acknowledge this alarm", id=section_id("acknowledge", page, section), type="button")
    told = html.Div(id=section_id("refused", page, section))
    kept = dcc.Store(id=section_id("alarm", page, section), data=alarm)
    return [html.Div([kept, label, button, told], className="acknowledge no-print")]
