"""Connect addresses with pages."""

from __future__ import annotations

from typing import Any

import dash
from dash import ClientsideFunction, Input, Output, State
from dash.development.base_component import Component

from analytics.warehouse_file import WarehouseError
from dashboards.address import read_view
from dashboards.asking import Asking
from dashboards.decision_page import decision_page
from dashboards.every_page import PAGES, page_at
from dashboards.frame import MENU, RECORDS, START, menu
from dashboards.in_words import in_words
from dashboards.job_links import job_of
from dashboards.job_page import job_page
from dashboards.other_pages import no_records_page, not_found_page, refused_page
from dashboards.records_page import records_line, records_page
from dashboards.said import said_day
from dashboards.section_view import refused
from dashboards.start_page import start_page


def connect_pages(app: dash.Dash, asking: Asking) -> None:
    """Show the page of each address, mark it in the menu, and name it in the browser's title."""

    @app.callback(
        Output("page", "children"),
        Output("menu", "children"),
        Output("page-title", "data"),
        Input("address", "pathname"),
        State("address", "search"),
    )
    def show_page(pathname: str | None, search: str | None) -> tuple[list[Component], list[Component], str]:
        path = pathname or START
        shown = in_words(lambda: page_for(asking, path, search or ""), refused_page)
        return shown, menu(path), title_of(path)

    @app.callback(Output("records-line", "children"), Input("address", "search"))
    def answer_records_line(search: str | None) -> list[Component]:
        return in_words(lambda: records_line(asking.standing()), refused)

    in_browser: Any = app.clientside_callback
    in_browser(
        ClientsideFunction("layshaft", "arrive"),
        Input("page", "children"),
        State("page-title", "data"),
    )


def page_for(asking: Asking, pathname: str, search: str) -> list[Component]:
    """Return the page at an address; raises QuestionError where its view cannot be asked."""
    job, page, start = job_of(pathname), page_at(pathname), pathname.rstrip("/") == ""
    records = pathname.rstrip("/") == RECORDS
    if job is None and page is None and not start and not records:
        return not_found_page(pathname)
    view = read_view(search)
    try:
        if records:
            return records_page(asking.standing())
        if job is not None:
            return job_page(asking.sheet(job, view), search)
        if page is not None:
            asking.check()  # so that a page without records says so once
            return decision_page(page, view, asking.questions)
        asking.check()
        return start_page(PAGES, said_day(asking.day(view)))
    except WarehouseError as fault:
        if asking.records.any_published():
            return refused_page(str(fault), "The job records cannot be read")
        return no_records_page(str(fault))


def title_of(pathname: str) -> str:
    """Return the browser's title for an address."""
    job = job_of(pathname)
    if job is not None:
        return f"Job {job} - Layshaft"
    titles = dict(MENU)
    return f"{titles.get(pathname.rstrip('/') or START, 'Nothing here')} - Layshaft"
