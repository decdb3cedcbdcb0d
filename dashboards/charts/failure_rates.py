"""Draw how often each component position was found failed, and how that changed by year."""

from __future__ import annotations

import altair as alt
import polars as pl

from analytics.answer import Answer
from dashboards.chart_function import Chart
from dashboards.charts.strips import MOST_STRIPS, Strips, draw_strips, numbered
from dashboards.charts.theme import FIRST

_NAMES = ("family", "position", "component", "group")


def failure_rates_by_position(answer: Answer) -> Chart | None:
    """Draw the share found failed at each position, the most often failed first; a mark stands for a row."""
    enough = numbered(answer.rows).filter(pl.col("rate").is_not_null())
    if enough.is_empty():
        return None
    shown = enough.sort(["rate", "row"], descending=[True, False]).head(MOST_STRIPS)
    names = [name for name in _NAMES if shown[name].null_count() < shown.height]
    if "position" in names:
        names.remove("component")
    label = pl.concat_str([pl.col(name).str.replace_all("_", " ") for name in names], separator=", ", ignore_nulls=True)
    frame = shown.select(
        "row",
        label.alias("label"),
        pl.format("{} of {}", "failed", "inspected").alias("beside"),
        (100 * pl.col("rate")).alias("value"),
        (100 * pl.col("rate_low")).alias("low"),
        (100 * pl.col("rate_high")).alias("high"),
    )
    title = f"Most often failed first: {frame.height} of {answer.rows.height}"
    told = f"Share of inspected positions found failed, with intervals: {frame.height} of {answer.rows.height} rows."
    return draw_strips(Strips(frame, title, "found failed, % of those inspected", told))


def failure_rates_by_year(answer: Answer) -> Chart | None:
    """Draw the share found failed by the year in which the job was opened."""
    years = answer.curves.get("by_year")
    if years is None or years.height < 2:
        return None
    frame = years.with_columns(
        (100 * pl.col("rate")).alias("rate"), (100 * pl.col("low")).alias("low"), (100 * pl.col("high")).alias("high")
    )
    base = alt.Chart(frame).encode(
        x=alt.X("year:O", title=None, axis=alt.Axis(labelAngle=0, labelOverlap=True)),
        tooltip=[
            alt.Tooltip("year:O"),
            alt.Tooltip("rate:Q", title="found failed, %", format=".1f"),
            alt.Tooltip("low:Q", title="from", format=".1f"),
            alt.Tooltip("high:Q", title="to", format=".1f"),
            alt.Tooltip("failed:Q"),
            alt.Tooltip("inspected:Q"),
        ],
    )
    up = alt.Y("rate:Q", title="found failed, % of those inspected", axis=alt.Axis(tickCount=4))
    return alt.layer(
        base.mark_rule(strokeWidth=2, color=FIRST, opacity=0.6).encode(y=alt.Y("low:Q"), y2="high:Q"),
        base.mark_line(opacity=0.5).encode(y=up),
        base.mark_point(size=70, opacity=1).encode(y=up),
    ).properties(
        width="container",
        height=200,
        title="By the year in which the job was opened",
        description="Share of inspected positions found failed, by year.",
    )
