"""Show the pages that hold no sections: nothing here yet, nothing at this address, and what went wrong."""

from __future__ import annotations

from dash import dcc, html
from dash.development.base_component import Component

from dashboards.said import said_sentence

_LOADING = (
    ("layshaft demo", "load an invented workshop's ten years, to look round"),
    ("layshaft template records.xlsx", "write a workbook to fill in, one sheet a record"),
    ("layshaft load FILES", "load your own workbooks, CSV, JSON or Parquet files"),
    ("layshaft load --dry-run FILES", "see what would happen first"),
)


def no_records_page(reason: str) -> list[Component]:
    """Return the page shown while no job records can be read."""
    lead = "These pages answer from your own job records. Load some at the command line, then come back here."
    moves_on = "Nothing needs restarting: whichever page is opened after a load shows it."
    commands = [html.Div([html.Dt(html.Code(what)), html.Dd(why)]) for what, why in _LOADING]
    return [
        html.H1("No job records yet", id="page-heading", tabIndex=-1),
        html.P(lead, className="lead"),
        html.Dl(commands, className="facts commands"),
        html.P(moves_on, className="hint"),
        html.P(f"What the pages see now: {said_sentence(reason)}", className="asked"),
    ]


def not_found_page(pathname: str) -> list[Component]:
    """Return the page shown for an address that holds none."""
    return [
        html.H1("There is no page here", id="page-heading", tabIndex=-1),
        html.P(["Nothing is kept at ", html.Code(pathname[:120]), "."], className="lead"),
        html.P(dcc.Link("Go to this week's page", href="/")),
    ]


def refused_page(sentence: str, heading: str = "This view cannot be shown") -> list[Component]:
    """Return the page shown for a view that cannot be asked, with the way out."""
    return [
        html.H1(heading, id="page-heading", tabIndex=-1),
        html.P(said_sentence(sentence), className="lead refused"),
        html.P(dcc.Link("Go to this week's page", href="/")),
    ]
