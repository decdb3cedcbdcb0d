"""Draw what the watch list raised, and how likely it is to catch a bad lot."""

from __future__ import annotations

import altair as alt
import polars as pl

from analytics.answer import Answer
from dashboards.chart_function import Chart
from dashboards.charts.strips import MOST_STRIPS, Strips, draw_strips, numbered
from dashboards.charts.theme import FIRST, INK, SECOND

WAITING, SEEN_TO = "not acknowledged", "acknowledged"
_DASHES = ([1, 0], [7, 4], [2, 3])


def watch_alarms(answer: Answer) -> Chart | None:
    """Draw by how many times each alarm exceeds ordinary work, with limits; a mark is a row."""
    rows = numbered(answer.rows).filter(pl.col("ratio").is_not_null()).head(MOST_STRIPS)
    if rows.is_empty():
        return None
    acknowledged = pl.col("acknowledged_on").is_not_null()
    frame = rows.select(
        "row",
        pl.col("what").alias("label"),
        pl.format("{} for {}", "seen", pl.col("expected").round(1)).alias("beside"),
        pl.col("ratio").alias("value"),
        "low",
        "high",
        pl.when(acknowledged).then(pl.lit(SEEN_TO)).otherwise(pl.lit(WAITING)).alias("kind"),
    )
    kinds = (WAITING, SEEN_TO) if frame["kind"].n_unique() > 1 else None
    title = f"Times what ordinary work brings: {frame.height} of {answer.rows.height} alarms"
    told = "Events since each alarm began over those to be expected, with limits."
    return draw_strips(Strips(frame, title, "times ordinary", told, shapes=kinds))


def watch_power(answer: Answer) -> Chart | None:
    """Draw the chance that a bad lot raises an alarm, by pieces fitted and how bad it is."""
    power = answer.curves["power"]
    if power.is_empty():
        return None
    name = pl.format("odds {} times", pl.col("odds_ratio").cast(pl.Int64))
    frame = power.with_columns((100 * pl.col("caught")).alias("caught"), name.alias("bad"))
    names = frame["bad"].unique(maintain_order=True).to_list()
    legend = alt.Legend(symbolType="stroke", symbolSize=500, symbolOpacity=1, direction="vertical")
    hues = alt.Scale(domain=names, range=[FIRST, SECOND, INK])
    lines = (
        alt.Chart(frame)
        .mark_line(point=True)
        .encode(
            x=alt.X("fitted:Q", title="pieces fitted; 6 in 1,000 is ordinary", axis=alt.Axis(tickCount=4)),
            y=alt.Y("caught:Q", title="caught, %", scale=alt.Scale(domain=[0, 100]), axis=alt.Axis(tickCount=5)),
            color=alt.Color("bad:N", title=None, scale=hues, legend=legend),
            strokeDash=alt.StrokeDash(
                "bad:N", title=None, scale=alt.Scale(domain=names, range=list(_DASHES)), legend=legend
            ),
            tooltip=[
                alt.Tooltip("bad:N", title=" "),
                alt.Tooltip("fitted:Q", title="pieces fitted"),
                alt.Tooltip("comebacks:Q", title="comebacks expected", format=".1f"),
                alt.Tooltip("caught:Q", title="caught, %", format=".0f"),
            ],
        )
    )
    return alt.layer(lines).properties(
        width="container",
        height=200,
        title="How surely a bad lot is caught",
        description="Chance that a bad lot raises an alarm, by pieces fitted and by how bad it is.",
    )
