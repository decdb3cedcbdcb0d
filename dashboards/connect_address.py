"""Connect the controls of a page with its address, both ways, so that every view can be bookmarked.

Neither callback declares an output: sections depend on the address, and Dash would hold them back until a callback
that declares the address as its output has run.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import dash
from dash import ALL, Input, Output, State, no_update, set_props
from dash.development.base_component import Component

from dashboards.address import changed, read_view
from dashboards.asking import Asking
from dashboards.connect_sections import section_of
from dashboards.decision_page import default_of, section_options
from dashboards.every_page import page_at
from dashboards.filter_bar import current_filters, filter_controls, shown_for
from dashboards.in_words import in_words
from dashboards.said import said, said_day
from dashboards.section_view import refused

_FILTERS = {"part": "filter", "name": ALL}
_OPTIONS = {"part": "option", "section": ALL, "name": ALL}
Ids = Sequence[Mapping[str, str]]
Values = Sequence[str | None]


def connect_address(app: dash.Dash, asking: Asking) -> None:
    """Write what the controls say into the address, and set the controls to what the address says."""

    @app.callback(
        Input(_FILTERS, "value"),
        Input(_OPTIONS, "value"),
        State(_FILTERS, "id"),
        State(_OPTIONS, "id"),
        State("address", "search"),
        prevent_initial_call=True,
    )
    def write_address(filters: Values, options: Values, filter_ids: Ids, option_ids: Ids, search: str | None) -> None:
        told = in_words(lambda: _written(asking, search, filters, options, filter_ids, option_ids), lambda why: None)
        if told is not None and told != changed(search, {}):
            set_props("address", {"search": told})

    @app.callback(
        Input("address", "search"),
        State(_FILTERS, "value"),
        State(_OPTIONS, "value"),
        State(_FILTERS, "id"),
        State(_OPTIONS, "id"),
        prevent_initial_call=True,
    )
    def set_controls(search: str | None, filters: Values, options: Values, filter_ids: Ids, option_ids: Ids) -> None:
        wanted = in_words(lambda: _wanted(asking, search, filter_ids, option_ids), lambda why: [*filters, *options])
        ids, now = [*filter_ids, *option_ids], [*filters, *options]
        for control_id, value, before in zip(ids, wanted, now, strict=True):
            if (value or None) != (before or None):
                set_props(dict(control_id), {"value": value})

    @app.callback(
        Output("controls", "children"),
        Input("narrow-down", "n_clicks"),
        State("address", "pathname"),
        State("address", "search"),
        prevent_initial_call=True,
    )
    def open_controls(clicks: int | None, pathname: str | None, search: str | None) -> Any:
        if clicks != 1:
            return no_update
        return in_words(lambda: _controls(asking, pathname or "", search), refused)

    @app.callback(Output("shown-for", "children"), Input("address", "search"))
    def say_view(search: str | None) -> str:
        return in_words(lambda: _said_view(asking, search), lambda why: "")

    @app.callback(Output({"part": "filter", "name": "position"}, "data"), Input("address", "search"))
    def offer_positions(search: str | None) -> Any:
        return in_words(lambda: _positions(asking, search), lambda why: no_update)


def _controls(asking: Asking, pathname: str, search: str | None) -> list[Component]:
    page, view = page_at(pathname), read_view(search)
    return filter_controls(page.filters, asking.choices(view), view) if page else []


def _written(
    asking: Asking, search: str | None, filters: Values, options: Values, filter_ids: Ids, option_ids: Ids
) -> str:
    """Return the query string with what every control says in it."""
    named = {filter_id["name"]: value for filter_id, value in zip(filter_ids, filters, strict=True)}
    return changed(search, {**named, **_given(asking, option_ids, options)})


def _given(asking: Asking, option_ids: Ids, values: Values) -> dict[str, str | None]:
    """Return what the option controls say by their name in addresses, None where it is the default anyway."""
    given: dict[str, str | None] = {}
    for option_id, value in zip(option_ids, values, strict=True):
        _, section = section_of(option_id)
        for option in section_options(section, asking.questions):
            if option.name == option_id["name"]:
                usual = (value or None) == default_of(section, option)
                given[f"{section.mark}.{option.name}"] = None if usual else value
    return given


def _wanted(asking: Asking, search: str | None, filter_ids: Ids, option_ids: Ids) -> list[str | None]:
    """Return what each control should say in the address's view."""
    view = read_view(search)
    filters = current_filters(view)
    wanted: list[str | None] = [filters.get(filter_id["name"]) for filter_id in filter_ids]
    for option_id in option_ids:
        _, section = section_of(option_id)
        usual = {option.name: default_of(section, option) for option in section_options(section, asking.questions)}
        given = view.options.get(section.mark, {})
        wanted.append(given.get(option_id["name"], usual.get(option_id["name"]) or ""))
    return wanted


def _said_view(asking: Asking, search: str | None) -> str:
    view = read_view(search)
    return shown_for(view, said_day(asking.day(view)))


def _positions(asking: Asking, search: str | None) -> list[dict[str, str]]:
    positions = asking.choices(read_view(search))["position"]
    return [{"value": position, "label": said(position)} for position in positions]
