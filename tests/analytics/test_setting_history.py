"""Where only the newest jobs count, they count just as they do among all."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path

import polars as pl
import pytest

from analytics.history import History
from analytics.setting_history import SettingHistory
from analytics.shims_used import shims_taken
from analytics.warehouse_file import open_warehouse


@pytest.fixture
def history(demo_warehouse_folder: Path) -> Iterator[History]:
    warehouse = open_warehouse(demo_warehouse_folder)
    yield History(warehouse, dt.date(2025, 1, 1))
    warehouse.close()


def test_the_newest_jobs_are_those_of_the_whole_history(history: History) -> None:
    every, newest = SettingHistory(history), SettingHistory(history, None, 300)
    jobs = newest.visits["job"]
    assert newest.after is not None
    assert 250 < jobs.len() <= 300
    assert newest.visits.equals(every.visits.filter(pl.col("opened") > newest.after))
    assert newest.bare_states.equals(every.bare_states.filter(pl.col("job").is_in(jobs.implode())))
    taken = shims_taken(history)
    assert shims_taken(history, newest.after).equals(taken.filter(pl.col("opened") > newest.after))
    [line] = newest.counted()
    assert str(newest.after) in line.rule


def test_all_jobs_count_where_there_are_no_more(history: History) -> None:
    setting = SettingHistory(history, None, 100_000)
    assert setting.after is None
    assert setting.counted() == ()
