"""Draw how many of each fleet's units are due, which ones, and how well earlier years were foretold."""

from __future__ import annotations

import altair as alt
import polars as pl

from analytics.answer import Answer
from dashboards.chart_function import Chart
from dashboards.charts.strips import MOST_STRIPS, Strips, draw_strips, numbered
from dashboards.charts.theme import FIRST, SECOND


def due_for_rebuild_by_fleet(answer: Answer) -> Chart | None:
    """Draw the number expected in within a year for each fleet, with limits; a mark stands for a row."""
    fleets = numbered(answer.rows).filter(pl.col("unit").is_null())
    if fleets.is_empty():
        return None
    frame = fleets.head(MOST_STRIPS).select(
        "row",
        pl.col("fleet").alias("label"),
        pl.format("of {}; last year {}", "units", "last_year").alias("beside"),
        pl.col("expected").alias("value"),
        pl.col("low").cast(pl.Float64),
        pl.col("high").cast(pl.Float64),
    )
    told = "Units expected in with something worn within 12 months, with limits, for each fleet."
    return draw_strips(Strips(frame, "Expected in within 12 months", "units", told, axis_format=",d"))


def due_for_rebuild_looking_back(answer: Answer) -> Chart | None:
    """Draw what was expected in earlier years against what came, fleet by fleet and year by year."""
    past = answer.curves["backtest"]
    if past.is_empty():
        return None
    # Marks of one year stand one above the other: each fleet's own line of years is told by its name in the tip.
    frame = past.sort("as_of", "fleet").with_columns(
        pl.format("{}, year from {}", "fleet", pl.col("as_of").dt.strftime("%b %Y")).alias("label"),
    ).with_row_index("place")  # fmt: skip
    base = alt.Chart(frame.with_columns(pl.col("place").cast(pl.Int32))).encode(
        x=alt.X("place:O", axis=alt.Axis(title="fleet and year, the latest at the right", labels=False, ticks=False)),
        tooltip=[
            alt.Tooltip("label:N", title=" "),
            alt.Tooltip("expected:Q", format=".1f"),
            alt.Tooltip("low:Q", title="from"),
            alt.Tooltip("high:Q", title="to"),
            alt.Tooltip("came:Q"),
            alt.Tooltip("last_year:Q", title="the year before"),
        ],
    )
    up = alt.Y("expected:Q", title="units", axis=alt.Axis(tickCount=5))
    return alt.layer(
        base.mark_rule(strokeWidth=3, color=FIRST, opacity=0.5).encode(y=alt.Y("low:Q"), y2="high:Q"),
        base.mark_point(size=50, color=FIRST, shape="circle", opacity=1).encode(y=up),
        base.mark_point(size=70, color=SECOND, shape="diamond", opacity=1).encode(y=alt.Y("came:Q")),
    ).properties(
        width="container", height=220, title="Looking back: circles foretold with limits, diamonds what came",
        description="Units foretold a year ahead with limits against the units that came, for each fleet and year.",
    )  # fmt: skip
