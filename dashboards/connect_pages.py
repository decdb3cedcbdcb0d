"""Connect addresses with pages."""

from __future__ import annotations

from functools import partial
from typing import Any

import dash
from dash import ClientsideFunction, Input, Output, State
from dash.development.base_component import Component

from analytics.warehouse_file import WarehouseError
from dashboards.address import View, read_view
from dashboards.asking import Asking
from dashboards.connect_address import menu_for
from dashboards.decision_page import decision_page
from dashboards.every_page import PAGES, page_at
from dashboards.frame import MENU, RECORDS, START
from dashboards.in_words import in_words
from dashboards.job_links import job_of
from dashboards.job_page import job_page
from dashboards.other_pages import no_records_page, not_found_page, refused_page
from dashboards.page import Page, Section
from dashboards.page_shown import PageShown
from dashboards.records_page import records_line, records_page
from dashboards.said import said_day
from dashboards.section_view import refused
from dashboards.start_page import answered_line, start_page


def connect_pages(app: dash.Dash, asking: Asking) -> None:
    """Show the page of each address, mark it in the menu, and name it in the browser's title."""

    @app.callback(
        Output("page", "children"),
        Output("menu", "children"),
        Output("shown", "data"),
        Input("address", "pathname"),
        State("address", "search"),
    )
    def show_page(pathname: str | None, search: str | None) -> tuple[list[Component], list[Component], dict[str, Any]]:
        path, asked = pathname or START, search or ""
        page = in_words(lambda: page_for(asking, path, asked), lambda why: PageShown(refused_page(why)))
        return page.children, menu_for(asking, path, asked), page.told(title_of(path), asked)

    @app.callback(Output("records-line", "children"), Input("address", "search"))
    def answer_records_line(search: str | None) -> list[Component]:
        return in_words(lambda: records_line(asking.standing()), refused)

    in_browser: Any = app.clientside_callback
    in_browser(ClientsideFunction("layshaft", "arrive"), Input("shown", "data"))


def page_for(asking: Asking, pathname: str, search: str) -> PageShown:
    """Return the page at an address; raises QuestionError where its view cannot be asked."""
    job, page, start = job_of(pathname), page_at(pathname), pathname.rstrip("/") == ""
    records = pathname.rstrip("/") == RECORDS
    if job is None and page is None and not start and not records:
        return PageShown(not_found_page(pathname))
    view = read_view(search)
    try:
        if records:
            return records_page(asking.standing())
        if job is not None:
            return PageShown(job_page(asking.sheet(job, view), search))
        if page is not None:
            asking.check()  # so that a page without records says so once
            return decision_page(page, view, search, asking)
        asking.check()
        return PageShown(start_page(PAGES, said_day(asking.day(view)), partial(_kept_line, asking, view)))
    except WarehouseError as fault:
        if asking.records.any_published():
            return PageShown(refused_page(str(fault), "The job records cannot be read"))
        return PageShown(no_records_page(str(fault)))


def _kept_line(asking: Asking, view: View, page: Page, section: Section) -> list[Component] | None:
    """Return a line of the first page where its answer is kept; what cannot be asked is refused when it is asked."""
    shown = in_words(lambda: asking.kept(section, view), lambda why: None)
    return answered_line(page, section, shown.answer) if shown else None


def title_of(pathname: str) -> str:
    """Return the browser's title for an address."""
    job = job_of(pathname)
    if job is not None:
        return f"Job {job} - Layshaft"
    titles = dict(MENU)
    return f"{titles.get(pathname.rstrip('/') or START, 'Nothing here')} - Layshaft"
