"""Draw how far readings move against what geometry says."""

from __future__ import annotations

import polars as pl

from analytics.answer import Answer
from dashboards.chart_function import Chart
from dashboards.charts.strips import MOST_STRIPS, Strips, draw_strips, numbered


def response_against_geometry(answer: Answer) -> Chart | None:
    """Draw each location's response as a share of what geometry gives, 1 where they agree; a mark is a row."""
    rows = numbered(answer.rows).filter(pl.col("moves").is_not_null() & pl.col("theory").is_not_null())
    if rows.is_empty():
        return None
    ratio = [(pl.col(name) / pl.col("theory")).alias(name) for name in ("moves", "moves_low", "moves_high")]
    shown = rows.with_columns(*ratio).head(MOST_STRIPS)
    frame = shown.select(
        "row",
        pl.format("{}, {}", "family", "location").alias("label"),
        pl.format("{} jobs", "jobs").alias("beside"),
        pl.col("moves").alias("value"),
        pl.min_horizontal("moves_low", "moves_high").alias("low"),
        pl.max_horizontal("moves_low", "moves_high").alias("high"),
    )
    return draw_strips(
        Strips(
            frame,
            title="Movement of the reading, 1 where it is as geometry says",
            value_title="reading moved, of what geometry gives",
            description="How far readings moved when packs changed, against geometry, with limits, by location.",
            tip_format=".2f",
            axis_format=".1f",
        )
    )
