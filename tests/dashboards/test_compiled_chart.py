"""Charts are compiled to what the browser draws, and keep their words and their height."""

from __future__ import annotations

import json

import altair as alt
import polars as pl
import vl_convert

from dashboards.compiled_chart import compiled


def test_a_compiled_chart_draws_the_same_as_the_chart_it_was_made_of() -> None:
    chart = alt.Chart(pl.DataFrame({"a": [1, 2, 3], "b": [4, 5, 6]})).mark_point().encode(x="a:Q", y="b:Q")
    chart = chart.properties(height=180, width=300, description="three points")
    made = compiled(chart)
    assert (made.description, made.height) == ("three points", 180)
    drawing = json.loads(made.drawing)
    assert "vega/v6" in drawing["$schema"]
    assert vl_convert.vega_to_svg(drawing) == vl_convert.vegalite_to_svg(chart.to_dict(), "6.4")
