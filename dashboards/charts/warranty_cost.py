"""Draw what comebacks cost a job, by job kind and by months of warranty."""

from __future__ import annotations

import altair as alt
import polars as pl

from analytics.answer import Answer
from dashboards.chart_function import Chart
from dashboards.charts.strips import Strips, draw_strips, numbered
from dashboards.charts.theme import FIRST


def warranty_cost_by_kind(answer: Answer) -> Chart | None:
    """Draw the expected cost a job for each kind, with limits; a mark is a row."""
    rows = numbered(answer.rows).filter(pl.col("cost").is_not_null())
    if rows.is_empty():
        return None
    frame = rows.select(
        "row",
        pl.col("kind").str.replace_all("_", " ").alias("label"),
        pl.format("{} comebacks of {} jobs", "events", "jobs").alias("beside"),
        pl.col("cost").alias("value"),
        "low",
        "high",
    )
    told = "Expected cost of comebacks a job for each kind of job, with limits."
    return draw_strips(Strips(frame, "Cost of comebacks a job", "a job, in money", told, tip_format=",.0f"))


def warranty_cost_by_months(answer: Answer) -> Chart | None:
    """Draw the expected cost a job by months of warranty, with limits."""
    curve = answer.curves["months"]
    if curve.height < 2:
        return None
    base = alt.Chart(curve).encode(
        x=alt.X("at:Q", title="months of warranty", axis=alt.Axis(format=",d", tickCount=6)),
        tooltip=[
            alt.Tooltip("at:Q", title="months"),
            alt.Tooltip("cost:Q", title="a job", format=",.0f"),
            alt.Tooltip("low:Q", title="from", format=",.0f"),
            alt.Tooltip("high:Q", title="to", format=",.0f"),
            alt.Tooltip("at_risk:Q", title="still followed", format=",d"),
        ],
    )
    return alt.layer(
        base.mark_area(opacity=0.15, color=FIRST).encode(y=alt.Y("low:Q"), y2="high:Q"),
        base.mark_line(color=FIRST).encode(y=alt.Y("cost:Q", title="a job, in money", axis=alt.Axis(tickCount=5))),
    ).properties(
        width="container",
        height=220,
        title="What each further month of warranty adds",
        description="Expected cost of comebacks a job, by months of warranty, with limits.",
    )
