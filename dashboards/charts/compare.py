"""Draw observed over expected comebacks of each group, and all groups in their funnel."""

from __future__ import annotations

import altair as alt
import polars as pl

from analytics.answer import Answer
from dashboards.chart_function import Chart
from dashboards.charts.strips import MOST_STRIPS, Strips, draw_strips, numbered, picking
from dashboards.charts.theme import FIRST, SECOND, SOFT_INK


def compare_groups(answer: Answer) -> Chart | None:
    """Draw the shrunk ratio of each group with limits, the raw one where it is not shrunk; a mark is a row."""
    rows = numbered(answer.rows).filter(pl.col("ratio").is_not_null())
    if rows.is_empty():
        return None
    shown = rows.head(MOST_STRIPS)
    frame = shown.select(
        "row",
        pl.col("group").alias("label"),
        pl.format("{} for {}", pl.col("observed").cast(pl.Int64), pl.col("expected").round(1)).alias("beside"),
        pl.coalesce("shrunk", "ratio").alias("value"),
        pl.when(pl.col("shrunk").is_not_null()).then("shrunk_low").otherwise("low").alias("low"),
        pl.when(pl.col("shrunk").is_not_null()).then("shrunk_high").otherwise("high").alias("high"),
    )  # fmt: skip
    title = f"Comebacks for those expected, shrunk: {frame.height} of {answer.rows.height}"
    told = "Observed over expected comebacks of each group, drawn towards the common level, with limits."
    return draw_strips(Strips(frame, title, "times expected", told))


def compare_funnel(answer: Answer) -> Chart | None:
    """Draw each group's raw ratio at its expectation, within limits by chance and allowing for spread."""
    limits = answer.curves["funnel"]
    rows = numbered(answer.rows).filter(pl.col("ratio").is_not_null())
    if limits.is_empty() or rows.height < 2:
        return None
    across = alt.X("expected:Q", title="comebacks expected", scale=alt.Scale(type="log"), axis=alt.Axis(tickCount=5))
    base = alt.Chart(limits).encode(x=across)
    up = "times expected"
    dots = (
        alt.Chart(rows.select("row", "group", "observed", "expected", "ratio"))
        .mark_point(size=80, opacity=1, color=FIRST)
        .encode(
            x=across,
            y="ratio:Q",
            tooltip=["group:N", alt.Tooltip("observed:Q"), alt.Tooltip("expected:Q", format=".1f"),
                     alt.Tooltip("ratio:Q", title=up, format=".2f")],
        )
        .add_params(picking())
    )  # fmt: skip
    one = alt.Chart(pl.DataFrame({"one": [1.0]})).mark_rule(color=SOFT_INK, strokeDash=[4, 3]).encode(y="one:Q")
    return alt.layer(
        base.mark_line(color=SOFT_INK, strokeWidth=1.5).encode(y=alt.Y("chance_low:Q", title=up)),
        base.mark_line(color=SOFT_INK, strokeWidth=1.5).encode(y="chance_high:Q"),
        base.mark_line(color=SECOND, strokeWidth=1.5, strokeDash=[6, 4]).encode(y="spread_low:Q"),
        base.mark_line(color=SECOND, strokeWidth=1.5, strokeDash=[6, 4]).encode(y="spread_high:Q"),
        one,
        dots,
    ).properties(
        width="container",
        height=240,
        title="Full lines: by chance alone; dashed: as groups spread",
        description="Ratio of each group by its expectation, with limits by chance and allowing for spread.",
    )
