"""Hold what stands round every page: the way past the menu, the menu, the place for the page."""

from __future__ import annotations

from dash import dcc, html
from dash.development.base_component import Component

from dashboards.address import narrowed
from dashboards.every_page import PAGES
from dashboards.markup import attributes

START, RECORDS = "/", "/records"
MENU: tuple[tuple[str, str], ...] = (
    (START, "This week"),
    *((page.address, page.title) for page in PAGES),
    (RECORDS, "Records"),
)


def frame() -> Component:
    """Return the frame that stays while pages change."""
    return html.Div(
        [
            dcc.Location(id="address", refresh="callback-nav"),
            html.A("Skip to the page", href="#page", className="skip no-print"),
            html.Header(
                [
                    html.Span("Layshaft", className="sign"),
                    html.Nav(id="menu", **attributes(aria_label="Pages")),
                ],
                className="top no-print",
            ),
            html.Main(id="page", tabIndex=-1),
            html.Footer(
                "Layshaft works from this workshop's own job records. Settings from history are a starting point; "
                "the unit maker's service data come first.",
                className="foot",
            ),
            dcc.Store(id="shown"),  # what the browser fills the page with: see page_shown.py
            dcc.Store(id="controls-asked"),  # the view in which the browser wants to know what the filters can be
            dcc.Store(id="controls"),
        ]
    )


def menu(pathname: str, search: str = "") -> list[Component]:
    """Return the menu, with the page that is shown marked; what was narrowed down goes along to the pages that can be so.

    This week and the records are always the whole workshop's.
    """
    taken = {page.address: page.filters for page in PAGES}
    return [
        html.Ul(
            [
                html.Li(
                    html.Span(title, className="here", **attributes(aria_current="page"))
                    if address == (pathname.rstrip("/") or START)
                    else dcc.Link(title, href=address + narrowed(search, taken.get(address, ())))
                )
                for address, title in MENU
            ]
        )
    ]
