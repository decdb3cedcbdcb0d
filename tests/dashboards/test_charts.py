"""Every chart of every page: small, said in words, told apart by more than colour, and traced back to rows."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import vl_convert

from analytics.answer import Answer
from analytics.history import History
from analytics.scope import Scope
from analytics.warehouse_file import open_warehouse
from dashboards.chart_engine import VEGA_LITE
from dashboards.chart_function import ChartFunction
from dashboards.charts.comebacks import comebacks_by_group, comebacks_by_months
from dashboards.charts.failure_rates import failure_rates_by_position, failure_rates_by_year
from dashboards.charts.parts_usage import parts_usage_by_month, parts_usage_change
from dashboards.charts.shim_corrections import shim_corrections_by_location
from dashboards.charts.strips import PICKED
from dashboards.charts.theme import FIRST, INK, PAPER, SECOND, SOFT_INK, register_theme
from dashboards.every_page import PAGES
from tests.answers_by_hand import questions_by_hand

CHARTS = [(section.question, chart) for page in PAGES for section in page.sections for chart in section.charts]


@pytest.fixture(scope="module")
def history(one_job_folder: Path) -> Iterator[History]:
    register_theme()
    warehouse = open_warehouse(one_job_folder)
    yield History(warehouse, dt.date(2025, 1, 1), Scope())
    warehouse.close()


def answered(history: History, question: str, **options: str) -> Answer:
    asked = questions_by_hand()[question]
    return asked.ask(history, asked.chosen(options))


def drawn(chart: ChartFunction, answer: Answer) -> dict[str, Any]:
    made = chart(answer)
    assert made is not None
    return made.to_dict()


def values(spec: dict[str, Any]) -> list[dict[str, Any]]:
    return [row for rows in spec["datasets"].values() for row in rows]


@pytest.mark.parametrize(("question", "chart"), CHARTS, ids=lambda value: getattr(value, "__name__", value))
def test_a_chart_is_described_fits_its_place_and_draws(history: History, question: str, chart: ChartFunction) -> None:
    answer = answered(history, question, **({"by": "family"} if chart is comebacks_by_group else {}))
    spec = drawn(chart, answer)
    assert len(spec["description"]) > 20
    assert spec["width"] == "container"
    assert len(values(spec)) <= 5_000
    assert "<svg" in vl_convert.vegalite_to_svg(spec, VEGA_LITE)


@pytest.mark.parametrize(("question", "chart"), CHARTS, ids=lambda value: getattr(value, "__name__", value))
def test_a_hue_never_speaks_alone(history: History, question: str, chart: ChartFunction) -> None:
    answer = answered(history, question, **({"by": "family"} if chart is comebacks_by_group else {}))
    spec = drawn(chart, answer)
    hued = [layer["encoding"] for layer in spec["layer"] if "field" in layer["encoding"].get("color", {})]
    fields = {encoding["color"]["field"] for encoding in hued}
    beside = {
        layer["encoding"][channel]["field"]
        for layer in spec["layer"]
        for channel in ("shape", "strokeDash")
        if "field" in layer["encoding"].get(channel, {})
    }
    assert fields <= beside


def test_marks_name_the_rows_they_stand_for(history: History) -> None:
    answer = answered(history, "failure-rates")
    spec = drawn(failure_rates_by_position, answer)
    assert [p["name"] for p in spec["params"]] == [PICKED]
    for mark in (row for row in values(spec) if "label" in row):
        row = answer.rows.row(mark["row"], named=True)
        assert mark["beside"] == f"{row['failed']} of {row['inspected']}"
        assert mark["value"] == pytest.approx(100 * row["rate"])


def test_positions_with_too_few_to_say_are_not_drawn_and_are_counted(history: History) -> None:
    answer = answered(history, "failure-rates")
    spec = drawn(failure_rates_by_position, answer)
    labels = {row["label"] for row in values(spec) if "label" in row}
    assert "T2, drive chain" not in labels
    assert spec["title"] == "Most often failed first: 5 of 6"


def test_kept_and_changed_gear_sets_are_drawn_apart_in_millimetres(history: History) -> None:
    spec = drawn(shim_corrections_by_location, answered(history, "shim-corrections"))
    marks = {row["label"]: row for row in values(spec) if "label" in row}
    assert marks["K40, behind pinion head, gear set kept"]["value"] == pytest.approx(0.062)
    assert marks["K40, behind pinion head, gear set changed"]["kind"] == "gear set changed"


def test_the_squares_on_the_months_curve_are_rows_of_the_answer(history: History) -> None:
    answer = answered(history, "comebacks")
    spec = drawn(comebacks_by_months, answer)
    squares = [row for row in values(spec) if "row" in row]
    assert len(squares) == 8
    for square in squares:
        assert square["months"] == answer.rows["months"][square["row"]]
    assert comebacks_by_group(answer) is None


def test_each_part_of_the_monthly_chart_stands_in_a_band_of_its_own(history: History) -> None:
    spec = drawn(parts_usage_by_month, answered(history, "parts-usage"))
    bars = [row for row in values(spec) if "top" in row]
    assert {row["floor"] for row in bars} == set(map(float, range(12)))
    assert all(0 <= row["floor"] - row["top"] < 0.551 for row in bars)
    assert bars[0]["from"].endswith("T00:00:00Z")


@pytest.mark.parametrize(("question", "chart"), CHARTS, ids=lambda value: getattr(value, "__name__", value))
def test_nothing_to_draw_is_no_chart(history: History, question: str, chart: ChartFunction) -> None:
    answer = answered(history, question)
    none = Answer(
        question, answer.as_of, 1, {}, "Too few to say.", "", answer.grain, answer.rows.clear(), answer.columns,
        curves={name: frame.clear() for name, frame in answer.curves.items()},
    )  # fmt: skip
    assert chart(none) is None


def test_a_trend_needs_two_years(history: History) -> None:
    answer = answered(history, "failure-rates")
    one = Answer(
        answer.question, answer.as_of, 1, {}, "", "", "", answer.rows, answer.columns,
        curves={"by_year": answer.curves["by_year"].head(1)},
    )  # fmt: skip
    assert failure_rates_by_year(one) is None


def test_the_parts_that_cost_most_come_first(history: History) -> None:
    spec = drawn(parts_usage_change, answered(history, "parts-usage"))
    labels = [row["label"] for row in values(spec) if "label" in row]
    assert labels[0] == "B-100, bearing number 0"
    assert len(labels) == 12


def luminance(colour: str) -> float:
    """Return the relative luminance of an sRGB colour (WCAG 2.2, definition of relative luminance)."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of two colours (WCAG 2.2, definition of contrast ratio)."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_contrast_meets_wcag() -> None:
    """Text 4.5 to 1 (WCAG 2.2, 1.4.3), marks 3 to 1 (1.4.11); black on white is 21 to 1 by definition."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert min(contrast(text, PAPER) for text in (INK, SOFT_INK)) >= 4.5
    assert min(contrast(mark, PAPER) for mark in (FIRST, SECOND)) >= 3
