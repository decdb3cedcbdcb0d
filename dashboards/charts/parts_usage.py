"""Draw which parts are used more or less than before, and how many pieces went each month."""

from __future__ import annotations

import altair as alt
import polars as pl

from analytics.answer import Answer
from dashboards.chart_function import Chart
from dashboards.charts.strips import Strips, constant, draw_strips, numbered
from dashboards.charts.theme import FIRST, INK, RULE, SOFT_INK

MOST_PARTS = 12
ROOM_FOR_PART = alt.ExprRef("max(140, width - 130)")  # pixels
_BAND = 46  # pixels for one part's months
_INSTANT = "%Y-%m-%dT00:00:00Z"  # said in full, so that no browser shifts a month by its time zone


def parts_usage_change(answer: Answer) -> Chart | None:
    """Draw the yearly change in use of the parts that cost most, with limits; a mark stands for a row."""
    rows = numbered(answer.rows).filter(pl.col("change_per_year").is_not_null())
    if rows.is_empty():
        return None
    shown = rows.sort(["spend_last_12_months", "row"], descending=[True, False], nulls_last=True).head(MOST_PARTS)
    frame = shown.select(
        "row",
        _named(answer).alias("label"),
        pl.format("{} pieces", pl.col("used_last_12_months").round(0).cast(pl.Int64)).alias("beside"),
        *[
            (100 * pl.col(name)).alias(end)
            for name, end in (("change_per_year", "value"), ("change_low", "low"), ("change_high", "high"))
        ],
    )
    strips = Strips(
        frame,
        title=f"The {frame.height} that cost most, of {answer.rows.height}",
        value_title="change in use a year, %",
        description=f"Change in use a year, with limits, of the {frame.height} that cost most in the last 12 months.",
        axis_format="+d",
        tip_format="+.1f",
        zero_line=True,
    )
    return draw_strips(strips)


def parts_usage_by_month(answer: Answer) -> Chart | None:
    """Draw the pieces used each month, one band for each of the parts that cost most."""
    monthly = answer.curves["monthly"]
    names = _most_spent(monthly)
    if not names:
        return None
    frame = _bars(monthly, names)
    labels = frame.group_by("name").agg(pl.col("floor").first(), pl.col("pieces").max()).sort("floor")
    labels = labels.join(_descriptions(answer), on="name", how="left").with_columns(
        pl.coalesce("label", pl.col("name").str.replace_all("_", " ")).alias("label"),
        pl.format("most in a month: {}", pl.col("pieces").round(0).cast(pl.Int64)).alias("peak"),
    )
    up = alt.Scale(domain=[len(names) - 0.9, -0.85], nice=False)
    floor = alt.Y("floor:Q", axis=None, scale=up)
    bars = (
        alt.Chart(frame)
        .mark_rect(color=FIRST)
        .encode(
            x=alt.X(
                "from:T",
                title=None,
                scale=alt.Scale(type="utc"),
                axis=alt.Axis(format="%Y", tickCount="year", labelOverlap=True, labelSeparation=8),
            ),
            x2="to:T",
            y=floor,
            y2="top:Q",
            tooltip=[
                alt.Tooltip("name:N", title=" "),
                alt.Tooltip("said:N", title="month"),
                alt.Tooltip("pieces:Q", format=",.0f"),
                alt.Tooltip("spend:Q", title="spent", format=",.0f"),
            ],
        )
    )
    words = alt.Chart(labels).encode(y=floor)
    return alt.layer(
        words.mark_rule(color=RULE),
        bars,
        words.mark_text(
            align="left", baseline="top", color=INK, fontSize=12.5, yOffset=-39, limit=ROOM_FOR_PART
        ).encode(x=constant(alt.XValue, 0), text="label:N"),
        words.mark_text(align="right", baseline="top", color=SOFT_INK, fontSize=12, yOffset=-39).encode(
            x=constant(alt.XValue, "width"), text="peak:N"
        ),
    ).properties(
        width="container",
        height=_BAND * len(names),
        title="Pieces used each month",
        description=f"Pieces used each month, one band for each of {len(names)}, scaled to its own busiest month.",
    )


def _named(answer: Answer) -> pl.Expr:
    """Return what each row is about, in words."""
    names: list[str] = [name for name in ("part", "component", "supplier") if answer.columns[0].name == name]
    if "description" in answer.rows.columns:
        names.append("description")
    return pl.concat_str([pl.col(n).str.replace_all("_", " ") for n in names], separator=", ", ignore_nulls=True)


def _descriptions(answer: Answer) -> pl.DataFrame:
    rows = answer.rows.select(pl.col(answer.columns[0].name).alias("name"), _named(answer).alias("label"))
    return rows.drop_nulls("name").unique("name", keep="first", maintain_order=True)


def _most_spent(monthly: pl.DataFrame) -> list[str]:
    spent = monthly.drop_nulls("name").group_by("name").agg(pl.col("spend").sum(), pl.col("pieces").sum())
    ordered = spent.sort(["spend", "pieces", "name"], descending=[True, True, False], nulls_last=True)
    return ordered["name"].head(MOST_PARTS).to_list()


def _bars(monthly: pl.DataFrame, names: list[str]) -> pl.DataFrame:
    """Return the months with the corners of each bar: every band is scaled to its own busiest month."""
    places = {name: float(place) for place, name in enumerate(names)}
    most = pl.max_horizontal(pl.col("pieces").max().over("name"), pl.lit(1.0))
    placed = monthly.filter(pl.col("name").is_in(names)).with_columns(
        pl.col("name").replace_strict(places, return_dtype=pl.Float64).alias("floor")
    )
    return placed.select(
        "name",
        "pieces",
        "spend",
        "floor",
        (pl.col("floor") - 0.55 * pl.col("pieces") / most).alias("top"),
        pl.col("month").dt.strftime(_INSTANT).alias("from"),
        pl.col("month").dt.offset_by("1mo").dt.strftime(_INSTANT).alias("to"),
        pl.col("month").dt.strftime("%b %Y").alias("said"),
    ).sort("name", "from")
