"""The whole sheet of one job: everything on record about it, as known on a day."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path

import pytest

from analytics.history import History
from analytics.job_sheet import job_sheet
from analytics.question import QuestionError
from analytics.warehouse_file import Warehouse, open_warehouse
from tests.one_job import load_one_job


@pytest.fixture(scope="module")
def records(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Warehouse]:
    folder: Path = load_one_job(tmp_path_factory.mktemp("one-job"))
    warehouse = open_warehouse(folder)
    yield warehouse
    warehouse.close()


@pytest.fixture(scope="module")
def today(records: Warehouse) -> History:
    return History(records, dt.date(2025, 1, 1))


def test_the_head_holds_the_job_its_unit_and_usage_in_the_units_people_read(today: History) -> None:
    head = job_sheet(today, "J/24-17").head
    assert (head["unit"], head["family"], head["unit_kind"]) == ("U-7", "K40", "axle_drive")
    assert head["odometer_km"] == 184_250
    assert head["fleet"] == "private owners"
    assert head["delivered"] == dt.date(2024, 3, 22)


def test_every_table_of_a_full_job_has_its_lines(today: History) -> None:
    sheet = job_sheet(today, "J/24-17")
    lines = {table.name: table.rows.height for table in sheet.tables}
    assert lines == {
        "complaints": 1, "findings": 2, "readings": 3, "packs": 1, "contact_patterns": 1, "road_tests": 1,
        "parts": 1, "labour": 1, "outside_work": 1, "waits": 1, "money": 4, "came_back_from": 0,
        "came_back_as": 1, "other_visits": 1,
    }  # fmt: skip
    assert all({c.name for c in table.columns} == set(table.rows.columns) for table in sheet.tables)


def test_readings_come_as_found_first_in_millimetres_and_newton_metres(today: History) -> None:
    readings = job_sheet(today, "J/24-17").table("readings").rows
    assert readings["stage"].to_list() == ["as_found", "as_built", "as_built"]
    assert readings["reading"].to_list() == ["66.35 mm", "66.60 mm", "2.26 N·m"]
    assert readings["target"].to_list() == ["66.60 mm", "66.60 mm", None]
    assert readings["limits"].to_list() == [None, "66.57 to 66.63 mm", None]


def test_a_pack_adds_every_piece_of_it(today: History) -> None:
    pack = job_sheet(today, "J/24-17").table("packs").rows.row(0, named=True)
    assert pack["pack"] == "2 x 0.100 + 1 x 0.150"
    assert (pack["pieces"], pack["total_mm"]) == (3, 0.35)


def test_money_lists_costs_and_prices_to_the_cent(today: History) -> None:
    money = {row["what"]: row for row in job_sheet(today, "J/24-17").table("money").rows.iter_rows(named=True)}
    assert money["parts fitted"]["cost"] == 61.20
    assert money["invoiced"]["price"] == 2515.50
    assert money["deposit"]["day"] == dt.date(2024, 3, 4)


def test_comebacks_are_told_from_both_ends(today: History) -> None:
    after = job_sheet(today, "J/24-17").table("came_back_as").rows
    before = job_sheet(today, "J/24-61").table("came_back_from").rows
    assert after["other_job"].to_list() == ["J/24-61"]
    assert before["other_job"].to_list() == ["J/24-17"]


def test_a_sheet_as_of_an_earlier_day_holds_only_what_was_known_then(today: History) -> None:
    sheet = job_sheet(today.on(dt.date(2024, 3, 10)), "J/24-17")
    assert sheet.head["delivered"] is None
    assert sheet.head["warranty_months"] is None
    findings = sheet.table("findings").rows
    assert findings["grade"].to_list() == ["3", "1"]
    assert findings["action"].to_list() == [None, None]
    assert sheet.table("came_back_as").rows.is_empty()
    assert sheet.table("waits").rows["days"].to_list() == [None]


def test_settings_on_a_sheet_are_known_so_that_cautions_go_with_them(today: History) -> None:
    assert job_sheet(today, "J/24-17").holds_settings
    assert not job_sheet(today, "J/24-61").holds_settings


def test_an_unknown_job_is_refused_with_the_nearest_number(today: History) -> None:
    with pytest.raises(QuestionError, match="no job 'J/24-71' was on record on 2025-01-01; did you mean"):
        job_sheet(today, "J/24-71")


def test_a_job_is_unknown_before_it_was_opened(today: History) -> None:
    with pytest.raises(QuestionError, match="no job 'J/24-17' was on record on 2024-01-01"):
        job_sheet(today.on(dt.date(2024, 1, 1)), "J/24-17")
