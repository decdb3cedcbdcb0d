"""Hold the usual cautions, shown wherever a setting stands on a page or a print."""

from __future__ import annotations

from dash import html

CAUTIONS = (
    "Figures from past jobs are a starting point for a qualified technician who measures. The unit maker's service "
    "data and local rules come first. Driveline work can hurt people: units are heavy, springs store energy, parts "
    "rotate, and a drive or brake that fails on the road can kill."
)


def cautions() -> html.Aside:
    """Return the cautions as one plain paragraph."""
    return html.Aside([html.Strong("Before you set anything: "), CAUTIONS], className="cautions", role="note")
