"""Draw by which distance components are worn: each row's B10, and the first row's life curve and Weibull paper."""

from __future__ import annotations

import math

import altair as alt
import polars as pl

from analytics.answer import Answer
from dashboards.chart_function import Chart
from dashboards.charts.strips import MOST_STRIPS, Strips, draw_strips, numbered
from dashboards.charts.theme import FIRST, INK, SECOND

_NAMES = ("family", "position", "component", "group")
SEEN, FITTED = "as found, without a model", "fitted line"
PAPER_SHARES = (0.01, 0.02, 0.05, 0.1, 0.2, 0.3, 0.5, 0.7, 0.9, 0.99)


def component_life_by_row(answer: Answer) -> Chart | None:
    """Draw the distance by which 1 in 10 is worn, what is surely worn first at the top; a mark stands for a row."""
    enough = numbered(answer.rows).filter(pl.col("b10").is_not_null() & pl.col("b10_high").is_not_null())
    if enough.is_empty():
        return None
    shown, (unit, per) = enough.head(MOST_STRIPS), _across(answer)
    names = [name for name in _NAMES if shown[name].null_count() < shown.height]
    if "position" in names:
        names.remove("component")
    label = pl.concat_str([pl.col(name).str.replace_all("_", " ") for name in names], separator=", ", ignore_nulls=True)
    frame = shown.select(
        "row",
        label.alias("label"),
        pl.format("{} worn of {}", "worn", "lives").alias("beside"),
        *[
            (pl.col(name) / per).alias(end)
            for name, end in (("b10", "value"), ("b10_low", "low"), ("b10_high", "high"))
        ],
        pl.when(pl.col("population") == "on the road")
        .then(pl.lit("on the road"))
        .otherwise(pl.lit("only units that came in"))
        .alias("kind"),
    )
    title = f"1 in 10 worn by, surely first: {frame.height} of {answer.rows.height}"
    told = f"{unit.capitalize()} by which 1 in 10 is worn, with limits: {frame.height} of {answer.rows.height} rows."
    shapes = ("on the road", "only units that came in")
    return draw_strips(Strips(frame, title, f"{unit} by which 1 in 10 is worn (B10)", told, shapes=shapes))


def component_life_curve(answer: Answer) -> Chart | None:
    """Draw the share worn by distance for the first row: steps as found, and the fitted line with its limits."""
    steps, fitted = answer.curves["steps"], answer.curves["fitted"]
    if steps.is_empty() or fitted.height < 2:
        return None
    # Steps are drawn level to where the next part of the curve begins, so that nothing is claimed in between.
    corners = pl.DataFrame({"km": [0.0], "share": [0.0]}).vstack(
        steps.select(pl.col("to_km").alias("km"), "share")
    ).with_columns(pl.lit(SEEN).alias("which"))  # fmt: skip
    line = fitted.select("km", "share").with_columns(pl.lit(FITTED).alias("which"))
    band = pl.concat(
        [
            fitted.filter(pl.col("high").is_not_null()).select(
                pl.col("low").alias("km"), pl.col("high").alias("km_to"), "share"
            )
        ]
    )
    unit, per = _across(answer)
    scaled = [f.with_columns(pl.col("km") / per, pl.col("share") * 100) for f in (corners, line, band)]
    across = alt.X("km:Q", title=f"{unit} run", axis=alt.Axis(tickCount=6))
    up = alt.Y("share:Q", title="worn, %", axis=alt.Axis(tickCount=5))
    tips = [
        alt.Tooltip("which:N", title=" "),
        alt.Tooltip("km:Q", title=unit, format=",.0f"),
        alt.Tooltip("share:Q", title="worn, %", format=".1f"),
    ]
    layers = [
        alt.Chart(scaled[2].with_columns(pl.col("km_to") / per))
        .mark_rule(color=FIRST, opacity=0.35, strokeWidth=4)
        .encode(x=across, x2="km_to:Q", y=up),
        alt.Chart(scaled[1]).mark_line(color=FIRST).encode(x=across, y=up, **_told_apart(), tooltip=tips),
        alt.Chart(scaled[0]).mark_line(interpolate="step-after").encode(x=across, y=up, **_told_apart(), tooltip=tips),
    ]
    run = "hours" if unit == "hours" else "distance"
    return alt.layer(*layers).properties(
        width="container", height=260, title=[f"Share worn by {run}", _first(answer)],
        description=f"Share worn by {run} for {_first(answer)}: steps as found and the fitted line with limits.",
    )  # fmt: skip


def component_life_paper(answer: Answer) -> Chart | None:
    """Draw the first row on Weibull paper, where a Weibull life is a straight line."""
    paper = answer.curves["paper"]
    if paper.filter(pl.col("what") == "fitted").height < 2:
        return None
    heights = [math.log(-math.log(1 - share)) for share in PAPER_SHARES]
    unit, per = _across(answer)
    frame = paper.filter(pl.col("share") >= PAPER_SHARES[0] / 2).with_columns(
        pl.col("km") / per, (100 * pl.col("share")).alias("per_cent")
    )
    across = alt.X("km:Q", title=f"{unit} run", scale=alt.Scale(type="log", nice=False), axis=alt.Axis(tickCount=5))
    up = alt.Y(
        "height:Q",
        title="worn",
        axis=alt.Axis(values=heights, labelExpr="format(1 - exp(-exp(datum.value)), '.0%')"),
    )
    tips = [
        alt.Tooltip("km:Q", title=unit, format=",.0f"),
        alt.Tooltip("per_cent:Q", title="worn, %", format=".1f"),
    ]
    parts = {
        what: alt.Chart(frame.filter(pl.col("what") == what)).encode(x=across, y=up, tooltip=tips)
        for what in ("seen", "fitted", "low", "high")
    }
    return alt.layer(
        parts["low"].mark_line(color=FIRST, strokeDash=[2, 3], strokeWidth=1.5),
        parts["high"].mark_line(color=FIRST, strokeDash=[2, 3], strokeWidth=1.5),
        parts["fitted"].mark_line(color=FIRST),
        parts["seen"].mark_point(color=SECOND, shape="diamond", size=45, opacity=1),
    ).properties(
        width="container", height=280,
        title=["On Weibull paper", "diamonds as found, dots 90 % limits"],
        description=f"Weibull paper of {_first(answer)}: points as found, fitted line and its limits.",
    )  # fmt: skip


def _across(answer: Answer) -> tuple[str, float]:
    """Return the unit along the axis, how many of the answer's make one of it."""
    by_hours = any(column.name == "b10" and column.unit == "h" for column in answer.columns)
    return ("hours", 1.0) if by_hours else ("thousand km", 1000.0)


def _first(answer: Answer) -> str:
    row = answer.rows.row(0, named=True)
    names = [str(row[name]).replace("_", " ") for name in ("position", "family", "group") if row[name] is not None]
    return ", ".join(names) or str(row["component"]).replace("_", " ")


def _told_apart() -> dict[str, alt.Color | alt.StrokeDash]:
    names = [SEEN, FITTED]
    legend = alt.Legend(symbolType="stroke", symbolSize=500, symbolOpacity=1, labelLimit=300, direction="vertical")
    return {
        "color": alt.Color("which:N", title=None, scale=alt.Scale(domain=names, range=[INK, FIRST]), legend=legend),
        "strokeDash": alt.StrokeDash(
            "which:N", title=None, scale=alt.Scale(domain=names, range=[[1, 0], [7, 4]]), legend=legend
        ),
    }
