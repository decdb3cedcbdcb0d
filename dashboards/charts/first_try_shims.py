"""Draw the packs to try first."""

from __future__ import annotations

import polars as pl

from analytics.answer import Answer
from dashboards.chart_function import Chart
from dashboards.charts.strips import Strips, draw_strips, numbered


def first_try_packs(answer: Answer) -> Chart | None:
    """Draw the pack to try at each location in mm with its 90 % interval; a mark is a row."""
    rows = numbered(answer.rows).filter(pl.col("pack_um").is_not_null())
    if rows.is_empty():
        return None
    after = pl.col("next_um").is_not_null()

    def end(name: str) -> pl.Expr:
        return pl.when(after).then(pl.col(f"next_{name}")).otherwise(pl.col(f"pack_{name}")) / 1000

    frame = rows.select(
        "row",
        pl.col("location").alias("label"),
        pl.col("pieces").fill_null("").alias("beside"),
        end("um").alias("value"),
        end("low").alias("low"),
        end("high").alias("high"),
    )
    return draw_strips(
        Strips(
            frame,
            title="Pack to try next, with the pieces on hand",
            value_title="pack, mm",
            description="Shim pack to try next at each location of the unit, with its 90 % interval.",
            tip_format=".3f",
            axis_format=".2f",
        )
    )
