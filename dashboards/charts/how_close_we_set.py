"""Draw how close first trials come to their targets."""

from __future__ import annotations

import altair as alt
import polars as pl

from analytics.answer import Answer
from dashboards.chart_function import Chart
from dashboards.charts.strips import MOST_STRIPS, Strips, draw_strips, numbered
from dashboards.charts.theme import INK, SOFT_INK

MOST_POINTS = 300


def first_trials_out(answer: Answer) -> Chart | None:
    """Draw the share of first trials out of limits, worst first; a mark is a row."""
    rows = numbered(answer.rows).filter(pl.col("share_out").is_not_null())
    if rows.is_empty():
        return None
    shown = rows.sort(["share_out", "row"], descending=[True, False]).head(MOST_STRIPS)
    label = pl.concat_str(pl.col("quantity").str.replace_all("_", " "), "group", separator=", ", ignore_nulls=True)
    frame = shown.select(
        "row",
        label.alias("label"),
        pl.format("{} of {}", "first_out", "jobs").alias("beside"),
        (100 * pl.col("share_out")).alias("value"),
        (100 * pl.col("share_out_low")).alias("low"),
        (100 * pl.col("share_out_high")).alias("high"),
    )
    told = "Share of first trials out of limits, with limits of the share, by reading."
    return draw_strips(Strips(frame, "First trials out of limits", "out of limits, % of first trials", told))


def first_trials_in_order(answer: Answer) -> Chart | None:
    """Draw the newest first trials in order between their limits, with the lines of the individuals chart."""
    trials = answer.curves.get("individuals")
    if trials is None or trials.height < 8:
        return None
    frame = trials.tail(MOST_POINTS).with_columns(pl.col("number").cast(pl.Int32))
    base = alt.Chart(frame).encode(
        x=alt.X("number:Q", title="first trials in order", scale=alt.Scale(zero=False)),
        tooltip=["job:N", alt.Tooltip("place:Q", format=".2f", title="place between the limits")],
    )
    up = alt.Y("place:Q", title="lower limit -1, upper limit +1")
    lines = [
        base.mark_line(strokeWidth=1.5, color=INK, strokeDash=dash).encode(y=alt.Y(f"{name}:Q"))
        for name, dash in (("centre", [1, 0]), ("lower", [5, 3]), ("upper", [5, 3]))
    ]
    limits = alt.Chart(pl.DataFrame({"limit": [-1.0, 1.0]})).mark_rule(color=SOFT_INK).encode(y="limit:Q")
    drawn = [base.mark_line(opacity=0.4).encode(y=up), base.mark_point(size=30).encode(y=up)]
    return alt.layer(limits, *drawn, *lines).properties(
        width="container",
        height=220,
        title="Each first trial between its limits; dashes: where ordinary scatter ends",
        description="First trials in order, placed between their limits, with the lines of an individuals chart.",
    )
