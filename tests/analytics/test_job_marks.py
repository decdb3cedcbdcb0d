"""Practices told one by one and all in one reading are the same."""

from __future__ import annotations

from pathlib import Path

from analytics.history import History
from analytics.job_marks import MARKS, every_mark
from analytics.warehouse_file import open_warehouse


def test_all_marks_together_are_each_of_them_by_itself(demo_warehouse_folder: Path) -> None:
    warehouse = open_warehouse(demo_warehouse_folder)
    history = History(warehouse, warehouse.query("select latest from warehouse_format")["latest"][0])
    together = list(history.query(every_mark(MARKS)).select("job_id", "asked", "had").iter_rows())
    for number, mark in enumerate(MARKS):
        alone = history.query(f"select job_id, did from ({mark.sql}) where did is not null")
        bit = 1 << number
        assert set(alone.iter_rows()) == {(job, bool(had & bit)) for job, asked, had in together if asked & bit}
    assert all(had & ~asked == 0 for _, asked, had in together)
    assert len({job for job, _, _ in together}) == len(together) > 1000
    assert all(any(had & 1 << number for _, _, had in together) for number in (0, 1, 2))
