"""Draw which parts are used more or less than before, and how many pieces went each month."""

from __future__ import annotations

import altair as alt
import polars as pl

from analytics.answer import Answer
from dashboards.charts.strips import Strips, draw_strips, numbered
from dashboards.charts.theme import FIRST, INK, RULE, SOFT_INK

MOST_PARTS = 12
_BAND = 46  # pixels for one part's months


def parts_usage_change(answer: Answer) -> alt.LayerChart | None:
    """Draw the yearly change in use of the parts that cost most, with intervals; a mark stands for a row."""
    rows = numbered(answer.rows).filter(pl.col("change_per_year").is_not_null())
    if rows.is_empty():
        return None
    shown = rows.sort(["spend_last_12_months", "row"], descending=[True, False], nulls_last=True).head(MOST_PARTS)
    frame = shown.select(
        "row",
        _label().alias("label"),
        pl.format("{} used in 12 months", "used_last_12_months").alias("beside"),
        (100 * pl.col("change_per_year")).alias("value"),
        (100 * pl.col("change_low")).alias("low"),
        (100 * pl.col("change_high")).alias("high"),
    )
    told = f"Change in use a year, with intervals, of the {frame.height} parts that cost most in the last 12 months."
    return draw_strips(Strips(frame, "change in use a year, %", told, "+.0f", zero_line=True))


def parts_usage_by_month(answer: Answer) -> alt.LayerChart | None:
    """Draw the pieces used each month, one band for each of the parts that cost most."""
    monthly = answer.curves.get("monthly")
    if monthly is None or monthly.is_empty():
        return None
    by = "part" if "part" in monthly.columns else "component"
    names = _most_spent(monthly, by)
    frame = _bands(monthly.filter(pl.col(by).is_in(names)), by, names)
    labels = pl.DataFrame(
        {"label": [_named(answer, by, n) for n in names], "floor": [float(i) for i in range(len(names))]}
    )
    up = alt.Scale(domain=[len(names) - 0.2, -0.85], nice=False)
    bars = (
        alt.Chart(frame)
        .mark_bar(color=FIRST, binSpacing=0)
        .encode(
            x=alt.X("month:T", timeUnit="utcyearmonth", title=None, axis=alt.Axis(format="%Y", tickCount="year")),
            y=alt.Y("floor:Q", axis=None, scale=up),
            y2="top:Q",
            tooltip=[alt.Tooltip(f"{by}:N", title=" "), alt.Tooltip("month:T", timeUnit="utcyearmonth", title="month"),
                     alt.Tooltip("pieces:Q", format=",.0f"), alt.Tooltip("jobs:Q", format=",d")],
        )
    )  # fmt: skip
    floors = alt.Chart(labels).mark_rule(color=RULE).encode(y=alt.Y("floor:Q", scale=up))
    told = alt.Chart(labels).mark_text(align="left", baseline="top", color=INK, fontSize=12.5, yOffset=-38)
    most = alt.Chart(_peaks(frame, by)).mark_text(
        align="right", baseline="top", color=SOFT_INK, fontSize=12, yOffset=-38
    )
    return alt.layer(
        floors,
        bars,
        told.encode(x=alt.value(0), y=alt.Y("floor:Q", scale=up), text="label:N"),
        most.encode(x=alt.value("width"), y=alt.Y("floor:Q", scale=up), text="peak:N"),
    ).properties(
        width="container", height=_BAND * len(names), description=f"Pieces used each month, for {len(names)} {by}s."
    )


def _label() -> pl.Expr:
    return pl.concat_str(["part", "description"], separator=", ", ignore_nulls=True)


def _named(answer: Answer, by: str, name: str) -> str:
    if by == "part" and {"part", "description"} <= set(answer.rows.columns):
        found = answer.rows.filter(pl.col("part") == name)
        if found.height and found["description"][0]:
            return f"{name}, {found['description'][0]}"
    return name.replace("_", " ")


def _most_spent(monthly: pl.DataFrame, by: str) -> list[str]:
    worth = "spend" if monthly["spend"].null_count() < monthly.height else "pieces"
    spent = monthly.group_by(by).agg(pl.col(worth).sum()).sort([worth, by], descending=[True, False], nulls_last=True)
    return [str(name) for name in spent[by].drop_nulls().head(MOST_PARTS)]


def _bands(frame: pl.DataFrame, by: str, names: list[str]) -> pl.DataFrame:
    """Return the months with the floor and top of each bar: every band is scaled to its own busiest month."""
    places = {name: float(place) for place, name in enumerate(names)}
    floor = pl.col(by).replace_strict(places, return_dtype=pl.Float64)
    height = 0.55 * pl.col("pieces") / pl.max_horizontal(pl.col("pieces").max().over(by), pl.lit(1))
    return frame.with_columns(floor.alias("floor"), (floor - height).alias("top")).sort([by, "month"])


def _peaks(frame: pl.DataFrame, by: str) -> pl.DataFrame:
    peaks = frame.group_by(by).agg(pl.col("floor").first(), pl.col("pieces").max()).sort("floor")
    return peaks.with_columns(pl.format("most in a month: {}", pl.col("pieces").round(0).cast(pl.Int64)).alias("peak"))
