"""Connect sections with their answers, their charts, and the jobs behind them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import dash
from dash import MATCH, ClientsideFunction, Input, Output, State
from dash.development.base_component import Component

from analytics.question import QuestionError, find_question
from dashboards.acknowledge_form import acknowledge_form
from dashboards.address import changed, read_view
from dashboards.asking import Asking
from dashboards.every_page import page_at
from dashboards.in_words import in_words
from dashboards.page import Page, Section
from dashboards.section_view import jobs_behind, refused, section_body, section_specs
from dashboards.start_page import answered_line, unanswered_line

Specs = dict[str, Any]
NOTHING: Specs = {"charts": [], "rest": []}  # what a refused section is filled with


def connect_sections(app: dash.Dash, asking: Asking) -> None:
    """Answer each section on its own whenever the view in the address changes."""

    @app.callback(
        Output(_part("body"), "children"),
        Output(_part("specs"), "data"),
        Input("address", "search"),
        State(_part("body"), "id"),
    )
    def answer_section(search: str | None, body_id: Mapping[str, str]) -> tuple[list[Component], Specs]:
        return in_words(lambda: _answered(asking, body_id, search or ""), lambda why: (refused(why), NOTHING))

    @app.callback(Output(_part("line"), "children"), Input("address", "search"), State(_part("line"), "id"))
    def answer_line(search: str | None, line_id: Mapping[str, str]) -> list[Component]:
        page, section = section_of(line_id)
        return in_words(
            lambda: answered_line(page, section, asking.answer(section, read_view(search)).answer),
            lambda why: unanswered_line(page, section, why),
        )

    @app.callback(
        Output(_part("behind"), "children"),
        Input(_part("picked"), "data"),
        Input("address", "search"),
        State(_part("behind"), "id"),
        prevent_initial_call=True,  # nothing is picked yet, and what the session kept arrives as a change
    )
    def show_jobs(
        picked: Mapping[str, Any] | None, search: str | None, behind_id: Mapping[str, str]
    ) -> list[Component]:
        if not picked or changed(picked.get("search"), {}) != changed(search, {}):
            return []
        return in_words(lambda: _jobs(asking, behind_id, picked, search or ""), refused)

    in_browser: Any = app.clientside_callback
    in_browser(
        ClientsideFunction("layshaft", "fill"),
        Output(_part("rest"), "children"),
        Input(_part("specs"), "data"),
        Input(_part("wanted"), "data"),
        State(_part("specs"), "id"),
    )
    in_browser(
        ClientsideFunction("layshaft", "putControls"),
        Output(_part("options"), "children"),
        Input(_part("wanted"), "data"),
        State(_part("controls"), "data"),
        State(_part("options"), "children"),
        prevent_initial_call=True,
    )
    in_browser(
        ClientsideFunction("layshaft", "pickRow"),
        Output(_part("picked"), "data"),
        Input(_part("table"), "selectedRows"),
        State("address", "search"),
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
    address, _, mark = str(part_id.get("section", "")).partition("#")
    page = page_at(address)
    found = [section for section in page.sections if section.mark == mark] if page else []
    if page is None or not found:
        raise QuestionError("there is no such section on our pages")
    return page, found[0]


def _part(part: str) -> dict[str, Any]:
    return {"part": part, "section": MATCH}


def _answered(asking: Asking, body_id: Mapping[str, str], search: str) -> tuple[list[Component], Specs]:
    page, section = section_of(body_id)
    shown = asking.answer(section, read_view(search))
    question = find_question(section.question, asking.questions)
    return section_body(page, section, shown), section_specs(page, section, question, shown, search)


def _jobs(asking: Asking, behind_id: Mapping[str, str], picked: Mapping[str, Any], search: str) -> list[Component]:
    page, section = section_of(behind_id)
    view, number = read_view(search), picked.get("row")
    if not isinstance(number, int):
        raise QuestionError("a mark stands for one row of the answer; this one names none")
    answer = asking.answer(section, view).answer
    row, jobs = asking.jobs_behind(section, view, number)
    return [*jobs_behind(answer, row, jobs, search), *acknowledge_form(page, section, row)]
