"""Draw how many visits a unit makes by months since it began to be followed."""

from __future__ import annotations

import altair as alt
import polars as pl

from analytics.answer import Answer
from dashboards.chart_function import Chart
from dashboards.charts.strips import MOST_STRIPS, Strips, draw_strips, numbered
from dashboards.charts.theme import FIRST

DAYS_PER_MONTH = 30.4375
EVERYBODY = "all"
COMPARED_MONTHS = 24


def visits_per_unit_by_months(answer: Answer) -> Chart | None:
    """Draw the mean number of visits a unit by months, with limits, where the answer is not split."""
    curve = answer.curves["visits"].filter(pl.col("group") == EVERYBODY)
    if curve.height < 2:
        return None
    frame = curve.filter(pl.col("at_risk") > 0).with_columns((pl.col("days") / DAYS_PER_MONTH).alias("months"))
    base = alt.Chart(frame).encode(
        x=alt.X("months:Q", title="months followed", axis=alt.Axis(format=",d", tickCount=6)),
        tooltip=[
            alt.Tooltip("months:Q", format=",.0f"),
            alt.Tooltip("visits:Q", title="visits a unit", format=".2f"),
            alt.Tooltip("low:Q", title="from", format=".2f"),
            alt.Tooltip("high:Q", title="to", format=".2f"),
            alt.Tooltip("at_risk:Q", title="still followed", format=",d"),
        ],
    )
    return alt.layer(
        base.mark_area(interpolate="step-after", opacity=0.15, color=FIRST).encode(y=alt.Y("low:Q"), y2="high:Q"),
        base.mark_line(interpolate="step-after", color=FIRST).encode(
            y=alt.Y("visits:Q", title="visits a unit", axis=alt.Axis(tickCount=5))
        ),
    ).properties(
        width="container", height=240, title="Visits a unit by months since we follow it; bending up: closer together",
        description="Mean number of visits a unit by months followed, with limits.",
    )  # fmt: skip


def visits_per_unit_by_group(answer: Answer) -> Chart | None:
    """Draw visits within 24 months of each group, or by months where the answer is not split; a mark is a row."""
    rows = numbered(answer.rows).filter(pl.col("visits").is_not_null())
    split = rows["group"].n_unique() > 1
    if split:
        rows = rows.filter(pl.col("months") == COMPARED_MONTHS).sort(["visits", "row"], descending=[True, False])
    if rows.is_empty():
        return None
    name = pl.col("group").str.replace_all("_", " ") if split else pl.format("within {} months", "months")
    frame = rows.head(MOST_STRIPS).select(
        "row",
        name.alias("label"),
        pl.format("{} still followed", "at_risk").alias("beside"),
        pl.col("visits").alias("value"),
        "low",
        "high",
    )
    when = f" within {COMPARED_MONTHS} months" if split else ""
    title = f"Visits a unit{when}: {frame.height} of {rows.height}"
    told = f"Visits a unit{when}, with limits, for each row."
    return draw_strips(Strips(frame, title, f"visits a unit{when}", told, tip_format=".2f"))
