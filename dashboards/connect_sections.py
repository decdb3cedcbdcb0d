"""Connect sections with their answers, their charts, and the jobs behind them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import dash
from dash import MATCH, ClientsideFunction, Input, Output, State
from dash.development.base_component import Component

from analytics.question import QuestionError
from dashboards.acknowledge_form import acknowledge_form
from dashboards.address import read_view
from dashboards.asking import Asking
from dashboards.every_page import page_at
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
        search = str((asked or {}).get("search") or "")
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
        Input(_part("picked"), "data"),
        State(_part("picked"), "id"),
        prevent_initial_call=True,
    )
    def show_jobs(picked: Mapping[str, Any] | None, picked_id: Mapping[str, str]) -> list[Component]:
        return in_words(lambda: _jobs(asking, picked_id, picked), refused) if picked else []

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
    address, _, mark = str(part_id.get("section", "")).partition("#")
    page = page_at(address)
    found = [section for section in page.sections if section.mark == mark] if page else []
    if page is None or not found:
        raise QuestionError("there is no such section on our pages")
    return page, found[0]


def _part(part: str) -> dict[str, Any]:
    return {"part": part, "section": MATCH}


def answered(asking: Asking, part_id: Mapping[str, str], search: str) -> Told:
    """Return what the browser puts up in the section that a part's id names; raises where it cannot be answered."""
    _, section = section_of(part_id)
    return asking.answer(section, read_view(search)).told(search)


def _jobs(asking: Asking, picked_id: Mapping[str, str], picked: Mapping[str, Any]) -> list[Component]:
    page, section = section_of(picked_id)
    number, search = picked.get("row"), str(picked.get("search") or "")
    if not isinstance(number, int):
        raise QuestionError("a mark stands for one row of the answer; this one names none")
    view = read_view(search)
    answer = asking.answer(section, view).answer
    row, jobs = asking.jobs_behind(section, view, number)
    return [*jobs_behind(answer, row, jobs, search), *acknowledge_form(page, section, row)]
