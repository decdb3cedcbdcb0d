"""Connect the controls of a page with the view in its address.

The browser itself writes the address when a control changes and sets the controls when the address does
(`assets/controls.js`); what it asks here is what the filters can be set to, and how the view is said in words.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import dash
from dash import ClientsideFunction, Input, Output, State
from dash.development.base_component import Component
from markupsafe import Markup

from dashboards.address import read_view
from dashboards.asking import Asking
from dashboards.every_page import page_at
from dashboards.filter_bar import filter_controls, shown_for
from dashboards.frame import menu
from dashboards.in_words import in_words
from dashboards.markup import as_html
from dashboards.said import said_day
from dashboards.section_view import refused


def connect_address(app: dash.Dash, asking: Asking) -> None:
    """Offer the controls once somebody wants them, keep to the view what they offer, and say the view in words."""

    @app.callback(
        Output("controls", "data"),
        Input("controls-asked", "data"),
        State("address", "pathname"),
        prevent_initial_call=True,
    )
    def offer_controls(asked: Mapping[str, Any] | None, pathname: str | None) -> Markup:
        search = asked["search"] if asked else ""
        return in_words(lambda: _controls(asking, pathname or "", search), lambda why: as_html(refused(why)))

    @app.callback(
        Output("shown-for", "children"),
        Output("shown-for-on-paper", "children"),
        Input("address", "search"),
        prevent_initial_call=True,
    )
    def say_view(search: str | None) -> tuple[str, str]:
        told = in_words(lambda: _said_view(asking, search), lambda why: "")
        return told, told

    @app.callback(
        Output("menu", "children", allow_duplicate=True),
        Input("address", "search"),
        State("address", "pathname"),
        prevent_initial_call=True,
    )
    def take_view_along(search: str | None, pathname: str | None) -> list[Component]:
        return menu_for(asking, pathname or "", search or "")

    in_browser: Any = app.clientside_callback
    in_browser(ClientsideFunction("layshaft", "putControls"), Input("controls", "data"), prevent_initial_call=True)


def menu_for(asking: Asking, pathname: str, search: str) -> list[Component]:
    """Return the menu; a view that cannot be shown is not taken along."""

    def checked() -> list[Component]:
        asking.day(read_view(search))
        return menu(pathname, search)

    return in_words(checked, lambda why: menu(pathname))


def _controls(asking: Asking, pathname: str, search: str | None) -> Markup:
    page, view = page_at(pathname), read_view(search)
    return filter_controls(page.filters, asking.choices(view), view) if page else Markup()


def _said_view(asking: Asking, search: str | None) -> str:
    view = read_view(search)
    return shown_for(view, said_day(asking.day(view)))
