"""Draw which shims are used up."""

from __future__ import annotations

import polars as pl

from analytics.answer import Answer
from dashboards.chart_function import Chart
from dashboards.charts.strips import MOST_STRIPS, Strips, draw_strips, numbered

KEEP, SPARE = "keep", "the others do without it"


def shims_per_hundred_jobs(answer: Answer) -> Chart | None:
    """Draw the pieces used for a hundred jobs, most used first, those to keep by shape; a mark is a row."""
    rows = numbered(answer.rows).filter(pl.col("per_100_jobs").is_not_null())
    if rows.is_empty():
        return None
    shown = rows.sort(["per_100_jobs", "row"], descending=[True, False]).head(MOST_STRIPS)
    thickness = (pl.col("thickness_um") / 1000).round(3).cast(pl.String)
    frame = shown.select(
        "row",
        pl.format("{} mm, {}, {}", thickness, "location", "family").alias("label"),
        pl.format("{} in {} jobs", "pieces", "jobs").alias("beside"),
        pl.when(pl.col("keep").fill_null(False)).then(pl.lit(KEEP)).otherwise(pl.lit(SPARE)).alias("kind"),
        pl.col("per_100_jobs").alias("value"),
        pl.col("per_100_low").alias("low"),
        pl.col("per_100_high").alias("high"),
    )
    return draw_strips(
        Strips(
            frame,
            title="Pieces used for a hundred jobs",
            value_title="pieces for 100 jobs",
            description="Shim pieces used for a hundred jobs, with limits, by thickness and location.",
            axis_format="~g",
            shapes=(KEEP, SPARE),
        )
    )
