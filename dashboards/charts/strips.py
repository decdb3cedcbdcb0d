"""Draw estimates with their intervals as labelled strips: one row each, its name above its mark.

Names stand above the marks, not beside the axis, so that a strip is as readable on a phone as on a wide screen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import altair as alt
import polars as pl

from dashboards.chart_function import Chart
from dashboards.charts.theme import FIRST, INK, SECOND, SOFT_INK

STRIP_HEIGHT = 40  # pixels
MOST_STRIPS = 12
ROW = "row"  # the number of the answer's row that a mark stands for
PICKED = "picked"
ROOM_FOR_NAME = alt.ExprRef("max(140, width - 95)")  # pixels, so that on a phone a long name ends before the count


def numbered(frame: pl.DataFrame) -> pl.DataFrame:
    """Return the frame with the number of each row, by which a clicked mark is traced to its row."""
    return frame.with_row_index(ROW).with_columns(pl.col(ROW).cast(pl.Int32))


def picking() -> alt.Parameter:
    """Return the selection by which a click on a mark names its row."""
    return alt.selection_point(name=PICKED, fields=[ROW], on="click", clear="dblclick", nearest=False)


def constant(channel: Any, value: float | str) -> Any:
    """Return the same value for every mark, as the channel's own class.

    What alt.value returns Altair has to look up in its whole grammar, which takes as long as the rest of a chart.
    """
    return channel(value)


@dataclass(frozen=True)
class Strips:
    """Hold what the strips show.

    `frame` has the columns row, label, beside (short text at the right, such as '12 of 140'), value, low, high, and
    `second` (bool: drawn in the second shape and hue) where `shapes` names the two kinds. `low` or `high` may be
    null where an interval is open.
    """

    frame: pl.DataFrame
    title: str
    value_title: str
    description: str
    tip_format: str = ".1f"
    axis_format: str = ".2~f"
    zero_line: bool = False
    shapes: tuple[str, str] | None = None


def draw_strips(strips: Strips) -> Chart:
    """Return the strips, in the order of the frame; a click on one picks its row."""
    frame = strips.frame.with_row_index("place").with_columns(
        pl.col("place").cast(pl.Int32),
        pl.col("low").fill_null(pl.col("value")),
        pl.col("high").fill_null(pl.col("value")),
    )
    ends = [*frame["low"].to_list(), *frame["high"].to_list()]
    scale = alt.Scale(domain=[min([0.0, *ends]), max([*ends, 0.0]) or 1.0], nice=True)
    across = alt.X(
        "value:Q", title=strips.value_title, scale=scale, axis=alt.Axis(format=strips.axis_format, tickCount=5)
    )
    down = alt.Y("place:O", axis=None)
    base = alt.Chart(frame).encode(y=down, tooltip=_tooltip(strips))
    layers = [
        base.mark_rule(strokeWidth=2, yOffset=8).encode(
            x=alt.X("low:Q", scale=scale), x2="high:Q", color=_colour(strips)
        ),
        base.mark_point(size=90, opacity=1, yOffset=8)
        .encode(x=across, shape=_shape(strips), color=_colour(strips))
        .add_params(picking()),
        base.mark_text(
            align="left", baseline="bottom", color=INK, fontSize=12.5, yOffset=-1, limit=ROOM_FOR_NAME
        ).encode(x=constant(alt.XValue, 0), text="label:N"),
        base.mark_text(align="right", baseline="bottom", color=SOFT_INK, fontSize=12, yOffset=-1).encode(
            x=constant(alt.XValue, "width"), text="beside:N"
        ),
    ]
    if strips.zero_line:
        zero = alt.Chart(pl.DataFrame({"zero": [0.0]})).mark_rule(color=SOFT_INK, strokeDash=[4, 3])
        layers.insert(0, zero.encode(x=alt.X("zero:Q", scale=scale)))
    return alt.layer(*layers).properties(
        width="container", height=STRIP_HEIGHT * frame.height, title=strips.title, description=strips.description
    )


def _tooltip(strips: Strips) -> list[alt.Tooltip]:
    shown = strips.tip_format
    return [
        alt.Tooltip("label:N", title=" "),
        alt.Tooltip("value:Q", title=strips.value_title, format=shown),
        alt.Tooltip("low:Q", title="from", format=shown),
        alt.Tooltip("high:Q", title="to", format=shown),
        alt.Tooltip("beside:N", title="counted"),
    ]


def _colour(strips: Strips) -> Any:
    if strips.shapes is None:
        return constant(alt.ColorValue, FIRST)
    return alt.Color("kind:N", title=None, scale=alt.Scale(domain=list(strips.shapes), range=[FIRST, SECOND]))


def _shape(strips: Strips) -> Any:
    if strips.shapes is None:
        return constant(alt.ShapeValue, "circle")
    return alt.Shape("kind:N", title=None, scale=alt.Scale(domain=list(strips.shapes), range=["circle", "diamond"]))
