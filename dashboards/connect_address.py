"""Connect the controls of a page with its address, both ways, so that every view can be bookmarked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import dash
from dash import ALL, Input, Output, State, ctx, no_update

from dashboards.address import changed, read_view
from dashboards.asking import Asking
from dashboards.connect_sections import section_of
from dashboards.decision_page import default_of, section_options
from dashboards.filter_bar import current_filters, shown_for
from dashboards.in_words import in_words
from dashboards.said import said, said_day

_FILTERS = {"part": "filter", "name": ALL}
_OPTIONS = {"part": "option", "section": ALL, "name": ALL}
Ids = Sequence[Mapping[str, str]]


def connect_address(app: dash.Dash, asking: Asking) -> None:
    """Write what the controls say into the address, and set the controls to what the address says."""

    @app.callback(
        Output("address", "search"),
        Output(_FILTERS, "value"),
        Output(_OPTIONS, "value"),
        Input("address", "search"),
        Input(_FILTERS, "value"),
        Input(_OPTIONS, "value"),
        State(_FILTERS, "id"),
        State(_OPTIONS, "id"),
        prevent_initial_call=True,
    )
    def follow(
        search: str | None,
        filters: Sequence[str | None],
        options: Sequence[str | None],
        filter_ids: Ids,
        option_ids: Ids,
    ) -> tuple[Any, Sequence[Any], Sequence[Any]]:
        unmoved = (no_update, [no_update] * len(filter_ids), [no_update] * len(option_ids))
        if isinstance(ctx.triggered_id, dict):
            told = written(
                search, dict(zip(map(_name, filter_ids), filters, strict=True)), _given(asking, option_ids, options)
            )
            return unmoved if told == changed(search, {}) else (told, *unmoved[1:])
        return in_words(lambda: _set(asking, search, filter_ids, option_ids), lambda why: unmoved)

    @app.callback(Output("shown-for", "children"), Input("address", "search"))
    def say_view(search: str | None) -> str:
        return in_words(lambda: _said_view(asking, search), lambda why: "")

    @app.callback(Output({"part": "filter", "name": "position"}, "data"), Input("address", "search"))
    def offer_positions(search: str | None) -> Any:
        return in_words(
            lambda: [
                {"value": choice, "label": said(choice)} for choice in asking.choices(read_view(search))["position"]
            ],
            lambda why: no_update,
        )


def written(search: str | None, filters: Mapping[str, str | None], options: Mapping[str, str | None]) -> str:
    """Return the query string with the controls' values in it."""
    return changed(search, {**filters, **options})


def _given(asking: Asking, option_ids: Ids, values: Sequence[str | None]) -> dict[str, str | None]:
    """Return what the option controls say by their name in addresses, None where it is the default anyway."""
    given: dict[str, str | None] = {}
    for option_id, value in zip(option_ids, values, strict=True):
        _, section = section_of(option_id)
        for option in section_options(section, asking.questions):
            if option.name == option_id["name"]:
                usual = value == default_of(section, option)
                given[f"{section.mark}.{option.name}"] = None if usual else value
    return given


def _set(asking: Asking, search: str | None, filter_ids: Ids, option_ids: Ids) -> tuple[Any, list[Any], list[Any]]:
    view = read_view(search)
    filters = current_filters(view)
    options = []
    for option_id in option_ids:
        _, section = section_of(option_id)
        defaults = {o.name: default_of(section, o) or "" for o in section_options(section, asking.questions)}
        options.append(view.options.get(section.mark, {}).get(option_id["name"], defaults.get(option_id["name"], "")))
    return no_update, [filters.get(_name(filter_id)) for filter_id in filter_ids], options


def _said_view(asking: Asking, search: str | None) -> str:
    view = read_view(search)
    return shown_for(view, said_day(asking.day(view)))


def _name(filter_id: Mapping[str, str]) -> str:
    return filter_id["name"]
