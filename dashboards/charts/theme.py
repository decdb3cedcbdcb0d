"""Hold the look of every chart: ink on paper, two hues that differ in lightness, and shapes beside them."""

from __future__ import annotations

from typing import Any

import altair as alt

INK = "#20282c"
SOFT_INK = "#55605f"
RULE = "#d5cfc1"
PAPER = "#fdfcf8"  # what the pages put behind a chart
FIRST = "#17567a"  # oil blue
SECOND = "#b2541a"  # rust; told from the blue by every common kind of colour vision, and always by shape or dash too
FONT = "system-ui, 'Segoe UI', Roboto, 'Helvetica Neue', 'Noto Sans', sans-serif"
THEME = "layshaft"


def register_theme() -> None:
    """Make the look the one that charts are written with."""
    alt.theme.register(THEME, enable=True)(_theme)


def _theme() -> alt.theme.ThemeConfig:
    text: dict[str, Any] = {"labelColor": INK, "titleColor": SOFT_INK, "labelFontSize": 12, "titleFontSize": 12}
    quiet: dict[str, Any] = {**text, "titleFontWeight": "normal"}
    lines = {"domainColor": INK, "tickColor": RULE, "gridColor": RULE, "gridDash": [1, 3]}
    config: Any = {
        "background": "transparent",
        "font": FONT,
        "padding": 4,
        "view": {"stroke": None},
        "axis": {**quiet, **lines, "titlePadding": 10, "labelPadding": 6},
        "axisY": {"domain": False, "ticks": False},
        "legend": {**quiet, "orient": "top", "symbolStrokeWidth": 2},
        "title": {"color": SOFT_INK, "anchor": "start", "fontSize": 13, "fontWeight": "normal", "offset": 12},
        "point": {"filled": True, "size": 60, "color": FIRST},
        "line": {"color": FIRST, "strokeWidth": 2},
        "rule": {"color": INK},
        "area": {"color": FIRST, "opacity": 0.15},
        "bar": {"color": FIRST},
    }
    return alt.theme.ThemeConfig(config=config)
