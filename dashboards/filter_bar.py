"""Show and read the controls that narrow a page down."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from dash import html
from dash.development.base_component import Component
from markupsafe import Markup

from dashboards.address import DAY_FILTERS, View
from dashboards.controls import choice_control, day_control
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


def filter_bar(shown_for: str) -> list[Component]:
    """Return the place of the controls, closed and empty until somebody wants them, and what it says on paper."""
    opener = html.Summary(
        [html.Span("Narrow down", className="do"), html.Span(shown_for, id="shown-for", className="shown-for")]
    )
    on_paper = html.P(["Shown: ", html.Span(shown_for, id="shown-for-on-paper")], className="on-paper")
    return [html.Details([opener, html.Div(className="controls")], className="narrow-down no-print"), on_paper]


def filter_controls(names: Sequence[str], choices: Mapping[str, Sequence[str]], view: View) -> Markup:
    """Return the controls for the filters in `names`, set to the view."""
    now = current_filters(view)
    return Markup("").join(_control(name, choices.get(name, ()), now.get(name)) for name in names)


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


def _control(name: str, choices: Sequence[str], value: str | None) -> Markup:
    if name in DAY_FILTERS:
        return day_control(name, LABELS[name], value)
    offered = [(choice, said(choice)) for choice in choices]
    return choice_control(name, LABELS[name], offered, value, usual=None, none="all")
