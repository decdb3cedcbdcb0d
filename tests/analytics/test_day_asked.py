"""Days are written one way, and the day asked lies within the records."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path

import pytest

from analytics.day_asked import day_asked, typed_day
from analytics.question import QuestionError
from analytics.warehouse_file import Warehouse, open_warehouse
from tests.csv_workshop import BASE, CsvWorkshop

TODAY = dt.date(2026, 10, 1)


@pytest.fixture
def warehouse(tmp_path: Path) -> Iterator[Warehouse]:
    """Open a workshop whose first job was opened on 1 March 2020 and whose last was delivered on 9 May 2020."""
    shop = CsvWorkshop(tmp_path)
    shop.load(BASE)
    opened = open_warehouse(shop.records)
    yield opened
    opened.close()


def test_a_day_is_written_year_month_and_day() -> None:
    assert typed_day("2024-03-31") == dt.date(2024, 3, 31)


@pytest.mark.parametrize(
    "text", ["20240331", "2024-W13", "2024-W13-7", "2024-3-31", "2024-02-30", "31.03.2024", "", " 2024-03-31"]
)
def test_other_ways_of_writing_a_day_are_refused(text: str) -> None:
    with pytest.raises(ValueError):  # noqa: PT011
        typed_day(text)


def test_the_last_day_on_record_is_asked_where_none_is_given(warehouse: Warehouse) -> None:
    assert day_asked(warehouse, None, TODAY) == dt.date(2020, 5, 9)
    assert day_asked(warehouse, None, dt.date(2020, 4, 1)) == dt.date(2020, 4, 1)


def test_a_day_before_the_first_job_or_in_the_future_is_refused(warehouse: Warehouse) -> None:
    assert day_asked(warehouse, dt.date(2020, 3, 1), TODAY) == dt.date(2020, 3, 1)
    with pytest.raises(
        QuestionError, match=r"^the records begin on 2020-03-01, with the first job: .* as of 2020-02-29$"
    ):
        day_asked(warehouse, dt.date(2020, 2, 29), TODAY)
    with pytest.raises(QuestionError, match="lies in the future"):
        day_asked(warehouse, dt.date(2026, 10, 2), TODAY)


def test_without_a_job_any_day_can_be_asked(tmp_path: Path) -> None:
    shop = CsvWorkshop(tmp_path)
    shop.load({"families.csv": BASE["families.csv"]})
    opened = open_warehouse(shop.records)
    assert day_asked(opened, dt.date(2000, 1, 1), TODAY) == dt.date(2000, 1, 1)
    opened.close()
