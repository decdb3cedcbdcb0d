"""Draw how many times as far the lives of each group last as those of the others."""

from __future__ import annotations

import polars as pl

from analytics.answer import Answer
from dashboards.chart_function import Chart
from dashboards.charts.strips import MOST_STRIPS, Strips, draw_strips, numbered


def which_lasts_longer_by_group(answer: Answer) -> Chart | None:
    """Draw the ratio of lives of each comparison on doublings, the surest first; a mark stands for a row."""
    enough = numbered(answer.rows).filter(pl.col("ratio").is_not_null())
    if enough.is_empty():
        return None
    shown = enough.head(MOST_STRIPS)
    frame = shown.select(
        "row",
        pl.format("{}, {} against {}", "component", "group", "others").str.replace_all("_", " ").alias("label"),
        pl.format("{} and {} worn", "worn", "other_worn").alias("beside"),
        *[
            pl.col(name).clip(1e-3).log(2).alias(end)
            for name, end in (("ratio", "value"), ("low", "low"), ("high", "high"))
        ],
    )
    title = f"How far lives last against the others, surest first: {frame.height} of {answer.rows.height}"
    told = f"Ratio of lives to the others', on doublings, with limits: {frame.height} of {answer.rows.height} rows."
    across = "doublings of life against the others (-1: half as far, 1: twice as far)"
    return draw_strips(Strips(frame, title, across, told, tip_format=".2f", axis_format=".1f", zero_line=True))
