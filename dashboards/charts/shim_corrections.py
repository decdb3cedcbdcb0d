"""Draw by how much each shim location was corrected."""

from __future__ import annotations

import polars as pl

from analytics.answer import Answer
from dashboards.chart_function import Chart
from dashboards.charts.strips import MOST_STRIPS, Strips, draw_strips, numbered

KEPT, CHANGED = "gear set kept", "gear set changed"  # one whose set is not known is drawn as kept, and named so
_ENDS = (("mean_um", "value"), ("mean_low", "low"), ("mean_high", "high"))


def shim_corrections_by_location(answer: Answer) -> Chart | None:
    """Draw the mean correction at each location in mm, kept and changed gear sets by shape; a mark is a row."""
    rows = numbered(answer.rows).filter(pl.col("mean_um").is_not_null())
    if rows.is_empty():
        return None
    shown = rows.sort(["mean_absolute_um", "row"], descending=[True, False], nulls_last=True).head(MOST_STRIPS)
    kind = pl.when(pl.col("gear_set") == "changed").then(pl.lit(CHANGED)).otherwise(pl.lit(KEPT))
    frame = shown.select(
        "row",
        pl.format("{}, {}, gear set {}", "family", "location", "gear_set").alias("label"),
        pl.format("{} jobs", "jobs").alias("beside"),
        kind.alias("kind"),
        *[(pl.col(name) / 1000).alias(end) for name, end in _ENDS],
    )
    strips = Strips(
        frame,
        title=f"Mean change of the pack, most moved first: {frame.height} of {answer.rows.height}",
        value_title="as built less as found, mm",
        description="Mean change of the shim pack at each location, with limits, kept and changed gear sets apart.",
        tip_format="+.3f",
        axis_format="+.2f",
        zero_line=True,
        shapes=(KEPT, CHANGED),
    )
    return draw_strips(strips)
