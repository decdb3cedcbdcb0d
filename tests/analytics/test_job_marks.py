"""Practices told one by one and all in one reading are the same."""

from __future__ import annotations

from pathlib import Path

from analytics.history import History
from analytics.job_marks import MARKS, every_mark
from analytics.warehouse_file import open_warehouse


def test_all_marks_together_are_each_of_them_by_itself(demo_warehouse_folder: Path) -> None:
    warehouse = open_warehouse(demo_warehouse_folder)
    history = History(warehouse, warehouse.query("select latest from warehouse_format")["latest"][0])
    together = set(history.query(every_mark(MARKS)).select("number", "job_id", "did").iter_rows())
    for number, mark in enumerate(MARKS):
        alone = history.query(f"select job_id, did from ({mark.sql}) where did is not null")
        assert {(number, *row) for row in alone.iter_rows()} == {row for row in together if row[0] == number}
    assert {number for number, _, did in together if did} >= {0, 1, 2}
    assert len(together) > 3000
