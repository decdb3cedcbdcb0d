"""Draw which share of delivered jobs has come back, by months and by distance since delivery."""

from __future__ import annotations

import altair as alt
import polars as pl

from analytics.answer import Answer
from dashboards.charts.strips import numbered, picking
from dashboards.charts.theme import FIRST, INK, SECOND

OBSERVED = "observed"
ALL, OURS = "all comebacks", "ours only"
_MARKED_MONTHS = (3, 6, 12, 24)


def comebacks_by_months(answer: Answer) -> alt.LayerChart | None:
    """Draw the share come back by months since delivery, all and ours only, with limits."""
    return _all_and_ours(answer, "months", "months since delivery")


def comebacks_by_distance(answer: Answer) -> alt.LayerChart | None:
    """Draw the share come back by distance since delivery, all and ours only, with limits."""
    return _all_and_ours(answer, "distance", "km since delivery")


def comebacks_under_other_rules(answer: Answer) -> alt.LayerChart | None:
    """Draw how far the curve of all comebacks moves when units are followed under another rule."""
    curve = answer.curves.get("months")
    if curve is None or curve.is_empty():
        return None
    frame = _per_cent(curve.filter(~pl.col("ours")))
    rules = frame["rule"].unique(maintain_order=True).to_list()
    if len(rules) < 2:
        return None
    lines = (
        alt.Chart(frame)
        .mark_line(interpolate="step-after", strokeWidth=2)
        .encode(
            x=alt.X("at:Q", title="months since delivery"),
            y=alt.Y("share:Q", title="come back, % of delivered jobs"),
            strokeDash=alt.StrokeDash(
                "rule:N", title=None, scale=alt.Scale(domain=rules, range=[[1, 0], [7, 4], [2, 3]][: len(rules)]),
                legend=alt.Legend(direction="vertical", symbolSize=400, labelLimit=320),
            ),
            color=alt.Color("rule:N", scale=alt.Scale(domain=rules, range=[FIRST, SECOND, INK][: len(rules)]), legend=None),
            tooltip=[alt.Tooltip("rule:N", title=" "), alt.Tooltip("at:Q", title="months"), _percent_tip("share", "come back, %")],
        )
    )  # fmt: skip
    return alt.layer(lines).properties(
        width="container", height=220, description="Share come back under three rules of following delivered units."
    )


def _all_and_ours(answer: Answer, clock: str, title: str) -> alt.LayerChart | None:
    curve = answer.curves.get(clock)
    if curve is None or curve.is_empty():
        return None
    which = pl.when("ours").then(pl.lit(OURS)).otherwise(pl.lit(ALL)).alias("which")
    frame = _per_cent(curve.filter(pl.col("rule") == OBSERVED)).with_columns(which)
    across = alt.X("at:Q", title=title, axis=alt.Axis(format=",d", tickCount=6))
    colours = alt.Scale(domain=[ALL, OURS], range=[FIRST, SECOND])
    base = alt.Chart(frame).encode(x=across, color=alt.Color("which:N", scale=colours, legend=None))
    tips = [alt.Tooltip("which:N", title=" "), alt.Tooltip("at:Q", title=title, format=",.1f"), _percent_tip("share", "come back, %"),
            _percent_tip("low", "from"), _percent_tip("high", "to"), alt.Tooltip("at_risk:Q", title="still followed", format=",d")]  # fmt: skip
    layers = [
        base.mark_area(interpolate="step-after", opacity=0.15).encode(y=alt.Y("low:Q"), y2="high:Q"),
        base.mark_line(interpolate="step-after").encode(
            y=alt.Y("share:Q", title="come back, % of delivered jobs", axis=alt.Axis(tickCount=5)),
            strokeDash=alt.StrokeDash(
                "which:N", title=None, scale=alt.Scale(domain=[ALL, OURS], range=[[1, 0], [6, 4]]),
                legend=alt.Legend(symbolSize=400, symbolStrokeColor=INK),
            ),
            tooltip=tips,
        ),
    ]  # fmt: skip
    if clock == "months" and (marks := _marks(answer)) is not None:
        layers.append(marks)
    return alt.layer(*layers).properties(
        width="container", height=260, description=f"Share of delivered jobs come back, by {title}, with limits."
    )


def _marks(answer: Answer) -> alt.Chart | None:
    """Draw the months that the answer's rows give, as marks to click."""
    if not {"months", "share"} <= set(answer.rows.columns):
        return None
    rows = numbered(answer.rows).filter(pl.col("share").is_not_null())
    if rows.is_empty():
        return None
    frame = _per_cent(rows.select("row", "months", "share", "low", "high"))
    return (
        alt.Chart(frame)
        .mark_point(size=110, opacity=1, shape="square", color=INK)
        .encode(
            x="months:Q",
            y="share:Q",
            tooltip=[alt.Tooltip("months:Q", title="months"), _percent_tip("share", "come back, %"),
                     _percent_tip("low", "from"), _percent_tip("high", "to")],
        )
        .add_params(picking())
    )  # fmt: skip


def _per_cent(frame: pl.DataFrame) -> pl.DataFrame:
    return frame.with_columns((100 * pl.col(name)).alias(name) for name in ("share", "low", "high"))


def _percent_tip(name: str, title: str) -> alt.Tooltip:
    return alt.Tooltip(f"{name}:Q", title=title, format=".1f")
