"""Hold what a chart function is: an answer goes in, a chart comes out, or nothing where there is nothing to draw."""

from __future__ import annotations

from collections.abc import Callable

import altair as alt

from analytics.answer import Answer

Chart = alt.Chart | alt.LayerChart | alt.FacetChart
ChartFunction = Callable[[Answer], Chart | None]
