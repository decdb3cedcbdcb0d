"""Draw which share of delivered jobs has come back, by months and by distance since delivery."""

from __future__ import annotations

from typing import Any

import altair as alt
import polars as pl

from analytics.answer import Answer
from dashboards.chart_function import Chart
from dashboards.charts.strips import MOST_STRIPS, Strips, draw_strips, numbered, picking
from dashboards.charts.theme import FIRST, INK, SECOND, SOFT_INK

OBSERVED = "observed"
EVERYBODY = "all"  # the one group of an answer that is not split
ALL, OURS = "all comebacks", "by our own work"
COMPARED_MONTHS = 12
_BY_MONTHS = {"group", "share", "ours", "months"}  # columns of rows that tell shares by months
_DASHES = ([1, 0], [7, 4], [2, 3], [9, 3, 2, 3])
_UP = "come back, % of delivered jobs"


def comebacks_by_group(answer: Answer) -> Chart | None:
    """Draw the share come back within 12 months for each group, where the answer is split; a mark is a row."""
    if not set(answer.rows.columns).issuperset(_BY_MONTHS):
        return None  # quarters are told in the table only
    rows = numbered(answer.rows).filter(
        pl.col("share").is_not_null(), ~pl.col("ours"), pl.col("months") == COMPARED_MONTHS
    )
    if rows.height < 2:
        return None
    shown = rows.sort(["share", "row"], descending=[True, False]).head(MOST_STRIPS)
    frame = shown.select(
        "row",
        pl.col("group").str.replace_all("_", " ").alias("label"),
        pl.format("{} of {} jobs so far", "comebacks", "jobs").alias("beside"),
        *[(100 * pl.col(name)).alias(end) for name, end in (("share", "value"), ("low", "low"), ("high", "high"))],
    )
    title = f"Come back within {COMPARED_MONTHS} months: {frame.height} of {rows.height}"
    told = f"Share of delivered jobs come back within {COMPARED_MONTHS} months, with limits, for each group."
    return draw_strips(Strips(frame, title, _UP, told))


def comebacks_by_months(answer: Answer) -> Chart | None:
    """Draw the share come back by months since delivery, all and ours only, with limits; a square is a row."""
    return _all_and_ours(answer, "months", "months since delivery")


def comebacks_by_distance(answer: Answer) -> Chart | None:
    """Draw the share come back by distance since delivery, all and ours only, with limits."""
    return _all_and_ours(answer, "distance", "thousand km since delivery")


def comebacks_under_other_rules(answer: Answer) -> Chart | None:
    """Draw how far the curve of all comebacks moves when units are followed under another rule."""
    curve = answer.curves["months"]
    frame = _per_cent(curve.filter(~pl.col("ours")))
    rules = frame["rule"].unique(maintain_order=True).to_list()
    if len(rules) < 2:
        return None
    names = {rule: "the rule of this page" if rule == OBSERVED else rule for rule in rules}
    lines = (
        alt.Chart(frame.with_columns(pl.col("rule").replace(names)))
        .mark_line(interpolate="step-after", strokeWidth=2)
        .encode(
            x=_across("months since delivery"),
            y=alt.Y("share:Q", title=_UP, axis=alt.Axis(tickCount=5)),
            **_told_apart("rule", list(names.values())),
            tooltip=[
                alt.Tooltip("rule:N", title=" "),
                alt.Tooltip("at:Q", title="months"),
                _percent_tip("share", "come back, %"),
            ],
        )
    )
    return alt.layer(lines).properties(
        width="container",
        height=220,
        title="If we followed delivered units by another rule",
        description="Share come back under other rules of following delivered units.",
    )


def _all_and_ours(answer: Answer, clock: str, title: str) -> Chart | None:
    curve = answer.curves[clock]
    if curve.is_empty():
        return None
    frame = _per_cent(curve.filter(pl.col("rule") == OBSERVED)).with_columns(_which())
    apart = _told_apart("which", [ALL, OURS])
    base = alt.Chart(frame).encode(x=_across(title), color=apart["color"])
    tips = [
        alt.Tooltip("which:N", title=" "),
        alt.Tooltip("at:Q", title=title, format=",.1f"),
        _percent_tip("share", "come back, %"),
        _percent_tip("low", "from"),
        _percent_tip("high", "to"),
        alt.Tooltip("at_risk:Q", title="still followed", format=",d"),
    ]
    layers = [
        base.mark_area(interpolate="step-after", opacity=0.15, strokeOpacity=0).encode(y=alt.Y("low:Q"), y2="high:Q"),
        base.mark_line(interpolate="step-after").encode(
            y=alt.Y("share:Q", title=_UP, axis=alt.Axis(tickCount=5)), strokeDash=apart["strokeDash"], tooltip=tips
        ),
    ]
    marks = _marks(answer) if clock == "months" else None
    return alt.layer(*layers, *([marks] if marks else [])).properties(
        width="container",
        height=260,
        title=f"By {title}",
        description=f"Share of delivered jobs come back, by {title}, with limits, all and by our own work.",
    )


def _marks(answer: Answer) -> Chart | None:
    """Draw the months that the answer's rows give, as squares to click, where the answer is not split."""
    if not set(answer.rows.columns).issuperset(_BY_MONTHS):
        return None
    rows = numbered(answer.rows).filter(pl.col("share").is_not_null(), pl.col("group") == EVERYBODY)
    if rows.is_empty():
        return None
    frame = _per_cent(rows.select("row", "ours", "months", "share", "low", "high")).with_columns(_which())
    squares: Chart = (
        alt.Chart(frame)
        .mark_point(size=90, opacity=1, shape="square", color=INK)
        .encode(
            x="months:Q",
            y="share:Q",
            tooltip=[
                alt.Tooltip("which:N", title=" "),
                alt.Tooltip("months:Q", title="months"),
                _percent_tip("share", "come back, %"),
                _percent_tip("low", "from"),
                _percent_tip("high", "to"),
            ],
        )
        .add_params(picking())
    )
    return squares


def _across(title: str) -> alt.X:
    return alt.X("at:Q", title=title, axis=alt.Axis(format=",d", tickCount=6))


def _told_apart(field: str, names: list[str]) -> dict[str, Any]:
    """Tell lines apart by hue and by dash, in one legend."""
    hues = alt.Scale(domain=names, range=[FIRST, SECOND, INK, SOFT_INK][: len(names)])
    dashes = alt.Scale(domain=names, range=list(_DASHES[: len(names)]))
    legend = alt.Legend(symbolType="stroke", symbolSize=500, symbolOpacity=1, labelLimit=300, direction="vertical")
    return {
        "color": alt.Color(f"{field}:N", title=None, scale=hues, legend=legend),
        "strokeDash": alt.StrokeDash(f"{field}:N", title=None, scale=dashes, legend=legend),
    }


def _which() -> pl.Expr:
    return pl.when("ours").then(pl.lit(OURS)).otherwise(pl.lit(ALL)).alias("which")


def _per_cent(frame: pl.DataFrame) -> pl.DataFrame:
    return frame.with_columns((100 * pl.col(name)).alias(name) for name in ("share", "low", "high"))


def _percent_tip(name: str, title: str) -> alt.Tooltip:
    return alt.Tooltip(f"{name}:Q", title=title, format=".1f")
