"""Show and read the controls that narrow a page down."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import dash_mantine_components as dmc
from dash import html
from dash.development.base_component import Component

from dashboards.address import DAY_FILTERS, View
from dashboards.said import said

LABELS = {
    "family": "Unit family",
    "component": "Component",
    "position": "Position",
    "supplier": "Supplier",
    "technician": "Lead technician",
    "fleet": "Fleet",
    "duty": "Duty",
    "kind": "Kind of job",
    "since": "From",
    "until": "To",
    "as_of": "As known on",
}


def filter_bar() -> html.Details:
    """Return the place of the controls, closed and empty until somebody wants them: they are slow to draw."""
    opener = html.Summary(
        [html.Span("Narrow down", className="do"), html.Span(id="shown-for", className="shown-for")], id="narrow-down"
    )
    return html.Details([opener, html.Div(id="controls", className="controls")], className="narrow-down no-print")


def filter_controls(names: Sequence[str], choices: Mapping[str, Sequence[str]], view: View) -> list[Component]:
    """Return the controls for the filters in `names`, set to the view."""
    now = current_filters(view)
    return [_control(name, choices.get(name, ()), now.get(name)) for name in names]


def current_filters(view: View) -> dict[str, str]:
    """Return the filters that a view sets, as texts."""
    filters = view.scope.filters()
    if view.as_of:
        filters["as_of"] = view.as_of.isoformat()
    return filters


def shown_for(view: View, day: str) -> str:
    """Say in words what a page is showing."""
    filters = current_filters(view)
    named = [f"{LABELS[name].lower()} {said(filters[name])}" for name in filters if name not in DAY_FILTERS]
    if view.scope.since:
        named.append(f"from {said(view.scope.since)}")
    if view.scope.until:
        named.append(f"to {said(view.scope.until)}")
    return f"{', '.join(named) if named else 'everything on record'}, as known on {day}"


def _control(name: str, choices: Sequence[str], value: str | None) -> Component:
    control_id = {"part": "filter", "name": name}
    if name in DAY_FILTERS:
        day: Component = dmc.DatePickerInput(
            id=control_id, label=LABELS[name], value=value, clearable=True, valueFormat="D MMM YYYY",
            placeholder="any day" if name != "as_of" else "last day on record", popoverProps={"withinPortal": False},
        )  # fmt: skip
        return day
    data = [{"value": choice, "label": said(choice)} for choice in choices]
    if value and value not in choices:
        data.insert(0, {"value": value, "label": f"{value} (not on record)"})
    select: Component = dmc.Select(
        id=control_id, label=LABELS[name], value=value, data=data, searchable=True, clearable=True, placeholder="all",
        nothingFoundMessage="none on record",
        comboboxProps={"withinPortal": False}, clearButtonProps={"aria-label": f"Clear {LABELS[name].lower()}"},
    )  # fmt: skip
    return select
