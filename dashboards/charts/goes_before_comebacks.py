"""Draw by how much the odds of a comeback differ with each practice or finding."""

from __future__ import annotations

import polars as pl

from analytics.answer import Answer
from dashboards.chart_function import Chart
from dashboards.charts.strips import MOST_STRIPS, Strips, draw_strips, numbered

OUT, NOT_OUT = "stands out", "does not"
MOST_DRAWN = 20.0  # odds ratios without an upper limit, or above this, are left to the table


def goes_before_comebacks_by_mark(answer: Answer) -> Chart | None:
    """Draw the odds ratio of each mark with limits, the surest first; a mark is a row."""
    rows = numbered(answer.rows).filter(pl.col("odds_ratio").is_not_null() & (pl.col("high") <= MOST_DRAWN))
    if rows.is_empty():
        return None
    shown = rows.head(MOST_STRIPS)
    frame = shown.select(
        "row",
        pl.col("mark").alias("label"),
        pl.format("{} of {}", "back_with", "jobs_with").alias("beside"),
        pl.col("odds_ratio").alias("value"),
        "low",
        "high",
        pl.when("stands_out").then(pl.lit(OUT)).otherwise(pl.lit(NOT_OUT)).alias("kind"),
    )
    title = f"Odds with it over odds without: {frame.height} of {answer.rows.height}"
    told = "Odds ratio of each practice or finding, with limits."
    return draw_strips(Strips(frame, title, "odds ratio", told, shapes=(OUT, NOT_OUT)))
