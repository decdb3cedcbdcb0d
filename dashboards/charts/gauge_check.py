"""Draw a gauge's readings on its master."""

from __future__ import annotations

import altair as alt
import polars as pl

from analytics.answer import Answer
from dashboards.chart_function import Chart
from dashboards.charts.theme import FIRST, INK, SECOND

SHOWN_DAYS = 5 * 365


def gauge_on_its_master(answer: Answer) -> Chart | None:
    """Draw the weighted mean of the first listed gauge's errors on the master with its limits."""
    masters = answer.curves.get("masters")
    if masters is None or masters.is_empty() or answer.rows.is_empty():
        return None
    charted = set(masters["instrument"].to_list())
    gauge = next((name for name in answer.rows["instrument"].to_list() if name in charted), None)
    frame = masters.filter(pl.col("instrument") == gauge)
    last = frame["day"].max()
    frame = frame.filter(pl.col("day") >= last - pl.duration(days=SHOWN_DAYS)) if last is not None else frame
    torque = frame["quantity"][0].endswith("torque")
    names = ("error_um", "mean_um", "lower_um", "upper_um")
    frame = frame.with_columns(
        *[(pl.col(name) / 1000).alias(name) for name in names],
        (pl.col("day").cast(pl.String) + "T00:00:00Z").alias("day"),
    )
    across = alt.X("day:T", title=None, scale=alt.Scale(type="utc"))
    base = alt.Chart(frame).encode(x=across)
    up = alt.Y("mean_um:Q", title=f"reads above the master, {'N·m' if torque else 'mm'}")
    return alt.layer(
        base.mark_point(size=18, color=INK, opacity=0.35).encode(y=alt.Y("error_um:Q")),
        base.mark_line(color=FIRST).encode(y=up),
        base.mark_line(color=SECOND, strokeDash=[5, 3], strokeWidth=1.5).encode(y=alt.Y("lower_um:Q")),
        base.mark_line(color=SECOND, strokeDash=[5, 3], strokeWidth=1.5).encode(y=alt.Y("upper_um:Q")),
    ).properties(
        width="container",
        height=220,
        title=f"{gauge} on its master: readings, their weighted mean, and where ordinary scatter ends (dashes)",
        description=f"Errors of gauge {gauge} on its master over time, with their weighted mean and its limits.",
    )
