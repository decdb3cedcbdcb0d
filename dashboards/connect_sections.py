"""Connect sections with their answers, their charts, and the jobs behind them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import dash
from dash import MATCH, ClientsideFunction, Input, Output, State, no_update
from dash.development.base_component import Component

from analytics.question import QuestionError
from dashboards.acknowledge_form import acknowledge_form
from dashboards.address import read_view
from dashboards.asking import Asking
from dashboards.every_page import NO_SECTION, section_at
from dashboards.in_words import in_words
from dashboards.page import Page, Section
from dashboards.section_view import jobs_behind, refused, refused_answer
from dashboards.start_page import answered_line, unanswered_line

Told = dict[str, Any]


def connect_sections(app: dash.Dash, asking: Asking) -> None:
    """Answer each section on its own when the browser asks for it in the view of the address."""

    @app.callback(
        Output(_part("answer"), "data"),
        Input(_part("asked"), "data"),
        State(_part("asked"), "id"),
        prevent_initial_call=True,
    )
    def answer_section(asked: Mapping[str, Any] | None, asked_id: Mapping[str, str]) -> Told:
        search = asked["search"] if asked else ""
        return in_words(lambda: answered(asking, asked_id, search), lambda why: refused_answer(why, search))

    def line(search: str | None, line_id: Mapping[str, str]) -> list[Component]:
        page, section = section_of(line_id)
        return in_words(
            lambda: answered_line(page, section, asking.answer(section, read_view(search)).answer),
            lambda why: unanswered_line(page, section, why),
        )

    for part, at_first in (("line-to-ask", True), ("line", False)):
        app.callback(
            Output(_part(part), "children"),
            Input("address", "search"),
            State(_part(part), "id"),
            prevent_initial_call=not at_first,
        )(line)

    @app.callback(
        Output(_part("behind"), "children"),
        Output(_part("answer"), "data", allow_duplicate=True),
        Input(_part("picked"), "data"),
        State(_part("picked"), "id"),
        prevent_initial_call=True,
    )
    def show_jobs(picked: Mapping[str, Any] | None, picked_id: Mapping[str, str]) -> tuple[list[Component], Any]:
        if not picked:
            return [], no_update
        return in_words(lambda: _picked(asking, picked_id, picked), lambda why: (refused(why), no_update))

    in_browser: Any = app.clientside_callback
    in_browser(ClientsideFunction("layshaft", "viewChanged"), Input("address", "search"), prevent_initial_call=True)
    in_browser(
        ClientsideFunction("layshaft", "answered"),
        Input(_part("answer"), "data"),
        State(_part("answer"), "id"),
        prevent_initial_call=True,
    )
    in_browser(
        ClientsideFunction("layshaft", "arriveAtJobs"),
        Input(_part("behind"), "children"),
        State(_part("behind"), "id"),
        prevent_initial_call=True,
    )


def section_of(part_id: Mapping[str, str]) -> tuple[Page, Section]:
    """Return the page and section that a part's id names; raises QuestionError where there is none."""
    found = section_at(part_id["section"])
    if found is None:
        raise QuestionError(NO_SECTION)
    return found


def _part(part: str) -> dict[str, Any]:
    return {"part": part, "section": MATCH}


def answered(asking: Asking, part_id: Mapping[str, str], search: str) -> Told:
    """Return what the browser puts up in the section that a part's id names; raises where it cannot be answered."""
    _, section = section_of(part_id)
    return asking.answer(section, read_view(search)).told(search)


def _picked(asking: Asking, picked_id: Mapping[str, str], picked: Mapping[str, Any]) -> tuple[list[Component], Any]:
    """Return the jobs behind the row, and the answer where it is another by now than the one the row was chosen in."""
    _, section = section_of(picked_id)
    shown = asking.answer(section, read_view(picked["search"]))
    renewed = no_update if picked.get("stamp") in (None, shown.stamp) else shown.told(picked["search"])
    return in_words(lambda: _jobs(asking, picked_id, picked), refused), renewed


def _jobs(asking: Asking, picked_id: Mapping[str, str], picked: Mapping[str, Any]) -> list[Component]:
    page, section = section_of(picked_id)
    view = read_view(picked["search"])
    row, jobs = asking.jobs_behind(section, view, picked["key"])
    answer = asking.answer(section, view).answer
    return [*jobs_behind(answer, row, jobs, picked["search"]), *acknowledge_form(page, section, row)]
