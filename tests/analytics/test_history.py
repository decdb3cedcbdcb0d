"""Check that a mart by day says the same wherever it is asked."""

from __future__ import annotations

from pathlib import Path

from polars.testing import assert_frame_equal

from analytics.history import History
from analytics.warehouse_file import open_warehouse


def test_a_mart_by_day_is_stored_as_it_is_asked_for_the_last_day(demo_warehouse_folder: Path) -> None:
    warehouse = open_warehouse(demo_warehouse_folder)
    latest = warehouse.query("select latest from warehouse_format")["latest"][0]
    history = History(warehouse, latest)
    asked_by_day = list(warehouse.query("select name, sql from mart_by_day").iter_rows())
    assert [name for name, _ in asked_by_day] == ["delivered_job"]
    for name, sql in asked_by_day:
        stored = history.query(f"select * from known_{name}").sort("job_id")
        asked = history.query(f"with asked as ({sql}) select * from asked").sort("job_id")
        assert stored.height > 1000
        assert_frame_equal(stored, asked)


def test_a_mart_by_day_holds_no_day_after_the_one_asked_for(demo_warehouse_folder: Path) -> None:
    warehouse = open_warehouse(demo_warehouse_folder)
    latest = warehouse.query("select latest from warehouse_format")["latest"][0]
    day = latest.replace(year=latest.year - 4)
    days = History(warehouse, day).query(
        "select max(greatest(delivered, opened, reported, first_known, next_rebuild, ended, last_independent)) as day, "
        "count(*) as jobs from known_delivered_job"
    )
    assert days["jobs"][0] > 500
    assert days["day"][0] <= day
