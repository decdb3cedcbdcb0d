"""Compile charts to what the browser draws, once on this machine instead of in every browser."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

import vl_convert

from dashboards.chart_engine import VEGA_LITE
from dashboards.chart_function import Chart


@dataclass(frozen=True)
class CompiledChart:
    """Hold a chart's drawing as Vega in JSON, its words for those who cannot see it, and its least height in pixels."""

    drawing: str
    description: str
    height: int


def compiled(chart: Chart) -> CompiledChart:
    """Return the chart compiled from Vega-Lite to Vega."""
    spec: dict[str, Any] = chart.to_dict()
    drawing = vl_convert.vegalite_to_vega(spec, vl_version=VEGA_LITE)
    height = spec.get("height")
    return CompiledChart(
        drawing=json.dumps(drawing, separators=(",", ":")),
        description=str(spec.get("description", "")),
        height=int(height) if isinstance(height, int | float) else 0,
    )
