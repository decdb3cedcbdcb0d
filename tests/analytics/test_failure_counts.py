"""In a large workshop some of the units tell how alike findings of one unit are; what is counted stays the same."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path

import polars as pl
import pytest

from analytics import failure_counts
from analytics.failure_rates import FAILURE_RATES
from analytics.history import History
from analytics.warehouse_file import open_warehouse


@pytest.fixture
def history(demo_warehouse_folder: Path) -> Iterator[History]:
    warehouse = open_warehouse(demo_warehouse_folder)
    yield History(warehouse, dt.date(2025, 1, 1))
    warehouse.close()


def _asked(history: History) -> pl.DataFrame:
    return FAILURE_RATES.ask(history, FAILURE_RATES.chosen({})).rows.sort("family", "position")


def test_counts_are_of_all_units_and_limits_hardly_move(history: History, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = _asked(history)
    monkeypatch.setattr(failure_counts, "SAMPLED_UNITS", 500)
    monkeypatch.setattr(failure_counts, "LEAST_SAMPLED", 40)
    monkeypatch.setattr(failure_counts, "LEAST_FAILED", 4)
    some = _asked(history)
    counted = ["family", "position", "failed", "inspected", "part_failed", "part_inspected", "rate", "said"]
    assert some.select(counted).equals(whole.select(counted))
    both = whole.with_columns(sampled=some["units"], width=(some["rate_high"] - some["rate_low"])).filter(
        (pl.col("sampled") < pl.col("units")) & pl.col("width").is_not_null()
    )
    assert both.height >= 10
    # A design effect from some 60 units that come once or twice scatters by a fifth, and a width by half as much.
    moved = (both["width"] / (both["rate_high"] - both["rate_low"])).to_list()
    assert all(0.75 < ratio < 1.33 for ratio in moved), moved
    assert 0.93 < sum(moved) / len(moved) < 1.07


def test_positions_too_rare_to_sample_are_counted_whole(history: History, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = _asked(history)
    monkeypatch.setattr(failure_counts, "SAMPLED_UNITS", 250)
    assert _asked(history)["units"].to_list() == whole["units"].to_list()


def test_units_are_chosen_by_name_whatever_comes_later(history: History) -> None:
    condition = failure_counts._one_unit_in(3)

    def chosen(day: dt.date) -> set[str]:
        sql = f"select unit from known_visit where {condition}"
        return set(history.on(day).query(sql)["unit"].to_list())

    early, late = chosen(dt.date(2019, 1, 1)), chosen(dt.date(2025, 1, 1))
    assert 50 < len(early) < len(late)
    assert early <= late
