"""Draw what is expected inside a unit, which parts to have ready, and how such statements came true."""

from __future__ import annotations

import altair as alt
import polars as pl

from analytics.answer import Answer
from dashboards.chart_function import Chart
from dashboards.charts.strips import MOST_STRIPS, Strips, draw_strips, numbered
from dashboards.charts.theme import FIRST, SOFT_INK


def what_to_expect_by_position(answer: Answer) -> Chart | None:
    """Draw the chance that each position is found failed, with limits, the likeliest first; a mark is a row."""
    if "probability" not in answer.rows.columns or "plain" not in answer.rows.columns or answer.rows.is_empty():
        return None
    shown = numbered(answer.rows).head(MOST_STRIPS)
    if shown["probability"].dtype != pl.Float64:
        return None
    frame = shown.select(
        "row",
        pl.col("position").alias("label"),
        pl.format("plain frequency {} %", (100 * pl.col("plain")).round(1)).alias("beside"),
        *[
            (100 * pl.col(name)).alias(end)
            for name, end in (("probability", "value"), ("low", "low"), ("high", "high"))
        ],
    )
    title = f"Chance to be found failed: {frame.height} of {answer.rows.height} positions"
    return draw_strips(
        Strips(frame, title, "found failed, %", "Chance that each position is found failed, with limits.")
    )


def what_to_expect_parts(answer: Answer) -> Chart | None:
    """Draw the chance that each part is used, the likeliest first."""
    parts = answer.curves.get("parts")
    if parts is None or parts.is_empty():
        return None
    frame = parts.head(MOST_STRIPS).with_columns((100 * pl.col("probability")).alias("chance"))
    order = frame["part"].to_list()
    bars = (
        alt.Chart(frame)
        .mark_bar(color=FIRST, height=14)
        .encode(
            x=alt.X("chance:Q", title="used, %", scale=alt.Scale(domain=[0, 100]), axis=alt.Axis(tickCount=5)),
            y=alt.Y("part:N", title=None, sort=order, axis=alt.Axis(labelLimit=170)),
            tooltip=["part:N", alt.Tooltip("chance:Q", title="used, %", format=".0f"),
                     alt.Tooltip("pieces:Q", title="pieces expected", format=".1f"), "positions:N"],
        )
    )  # fmt: skip
    return alt.layer(bars).properties(
        width="container",
        height=24 * frame.height,
        title=f"Parts to have ready: {frame.height} of {parts.height}",
        description="Chance that each part is used in this unit.",
    )


def what_to_expect_came_true(answer: Answer) -> Chart | None:
    """Draw what was stated for past jobs against what happened, in bands."""
    bands = answer.curves.get("bands")
    if bands is None or bands.height < 2:
        return None
    frame = bands.with_columns((100 * pl.col(name)).alias(name) for name in ("stated", "happened", "low", "high"))
    most = max(*frame["stated"].to_list(), *frame["high"].to_list())
    scale = alt.Scale(domain=[0, most])
    base = alt.Chart(frame).encode(x=alt.X("stated:Q", title="stated, %", scale=scale, axis=alt.Axis(tickCount=6)))
    line = alt.Chart(pl.DataFrame({"stated": [0.0, most]})).mark_line(
        color=SOFT_INK, strokeDash=[4, 3], strokeWidth=1.5
    )
    return alt.layer(
        line.encode(x="stated:Q", y=alt.Y("stated:Q", scale=scale)),
        base.mark_rule(color=FIRST, strokeWidth=2).encode(y=alt.Y("low:Q", title="happened, %"), y2="high:Q"),
        base.mark_point(color=FIRST, size=70, opacity=1).encode(
            y="happened:Q",
            tooltip=[alt.Tooltip("stated:Q", format=".1f"), alt.Tooltip("happened:Q", format=".1f"),
                     alt.Tooltip("cases:Q", title="positions", format=",d")],
        ),
    ).properties(
        width="container",
        height=220,
        title="Did such statements come true? On the dashed line they did",
        description="Stated against realised share found failed in past jobs, in bands, with limits.",
    )  # fmt: skip
