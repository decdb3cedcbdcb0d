"""Draw by how much each shim location was corrected."""

from __future__ import annotations

import altair as alt
import polars as pl

from analytics.answer import Answer
from dashboards.charts.strips import MOST_STRIPS, Strips, draw_strips, numbered

KEPT, CHANGED = "gear set kept", "gear set changed"


def shim_corrections_by_location(answer: Answer) -> alt.LayerChart | None:
    """Draw the mean correction at each location in mm, kept and changed gear sets by shape; a mark is a row."""
    rows = numbered(answer.rows).filter(pl.col("mean_um").is_not_null())
    if rows.is_empty():
        return None
    shown = rows.sort(["jobs", "row"], descending=[True, False]).head(MOST_STRIPS).sort("row")
    kind = pl.when(_changed(shown)).then(pl.lit(CHANGED)).otherwise(pl.lit(KEPT))
    frame = shown.select(
        "row",
        pl.format("{}, {}, {}", "family", "location", kind).alias("label"),
        pl.format("{} jobs", "jobs").alias("beside"),
        kind.alias("kind"),
        *[
            (pl.col(f"mean_{end}") / 1000).alias(name)
            for end, name in (("um", "value"), ("low", "low"), ("high", "high"))
        ],
    )
    told = "Mean correction of the shim pack at each location, with intervals, kept and changed gear sets apart."
    strips = Strips(frame, "as built less as found, mm", told, "+.2f", zero_line=True, shapes=(KEPT, CHANGED))
    return draw_strips(strips)


def _changed(rows: pl.DataFrame) -> pl.Expr:
    kind = rows.schema["gear_set"]
    return pl.col("gear_set") if kind == pl.Boolean else pl.col("gear_set") == "changed"
