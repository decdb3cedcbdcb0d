"""Add what a habit implies: in a full strip, positions not listed were inspected and sound."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from analytics.history import History
from analytics.warehouse_file import open_warehouse
from tests.csv_workshop import BASE, CsvWorkshop

HABIT = '[[sheet]]\nfile = "*bad parts*"\nrecord = "finding"\nhabits = ["full_strip_lists_only_bad"]\n'
FILES = {
    **{name: text for name, text in BASE.items() if name != "jobs.csv"},
    "jobs.csv": """
        job,unit,kind,opened,torn_down,closed,delivered
        J0,U1,full rebuild,2020-01-01,2020-01-02,2020-01-08,2020-01-09
        J1,U1,full rebuild,2020-03-01,2020-03-02,2020-03-08,2020-03-09
        J2,U2,full rebuild,2020-04-01,2020-04-02,2020-04-08,2020-04-09
        J3,U2,part rebuild,2020-04-15,2020-04-16,2020-04-18,2020-04-19
        J4,U2,full rebuild,2020-04-20,,,
        J5,U1,full rebuild,2020-05-01,2020-05-02,2020-05-08,2020-05-09
        J6,U2,full rebuild,2020-05-10,2020-05-11,2020-05-18,2020-05-19
        J7,U1,full rebuild,2020-06-01,2020-06-02,2020-06-08,2020-06-09
    """,
    "bad parts.csv": "job,position,grade\nJ1,2nd ring,3\nJ5,main bearing,4\n",
    "full list.csv": "job,position,grade\nJ6,2nd ring,1\n",
}


def _implied(folder: Path, day: dt.date) -> set[tuple[str, str]]:
    opened = open_warehouse(folder)
    frame = History(opened, day).query("select job, position from known_finding where from_habit")
    opened.close()
    return set(frame.iter_rows())


def test_positions_not_listed_count_as_sound_within_the_sheets_days(tmp_path: Path) -> None:
    shop = CsvWorkshop(tmp_path)
    report = shop.load(FILES, HABIT)
    assert report.standing["quarantined"] == 0
    told = shop.ask("select job, position, role, failed, grade from finding where from_habit")
    # J2 lies between the listed jobs and was wholly sound; J0 and J7 lie outside; J3 is no full strip, J4 was never
    # torn down, and J6 is listed on another sheet.
    assert sorted(told) == [
        ("J1", "main bearing", "sound", False, None), ("J2", "2nd ring", "sound", False, None),
        ("J2", "main bearing", "sound", False, None), ("J5", "2nd ring", "sound", False, None),
    ]  # fmt: skip
    listed = next(source for source in report.sources if source.file.endswith("bad parts.csv"))
    assert (listed.read, listed.accepted) == (2, 2), "implied findings are no rows of the sheet"


def test_what_a_habit_implies_is_known_once_the_sheet_reaches_that_far(tmp_path: Path) -> None:
    shop = CsvWorkshop(tmp_path)
    shop.load(FILES, HABIT)
    assert _implied(shop.records, dt.date(2020, 5, 1)) == {("J1", "main bearing")}
    assert len(_implied(shop.records, dt.date(2020, 5, 2))) == 4
    # The same from files that end on the day before J5 was torn down.
    early = CsvWorkshop(tmp_path / "early")
    jobs = [line for line in FILES["jobs.csv"].strip().splitlines() if line.strip()[:2] not in ("J5", "J6", "J7")]
    early.load({**FILES, "jobs.csv": "\n".join(jobs), "bad parts.csv": "job,position,grade\nJ1,2nd ring,3\n",
                "full list.csv": "job,position,grade\nJ0,2nd ring,1\n"}, HABIT)  # fmt: skip
    assert _implied(early.records, dt.date(2020, 5, 1)) == {("J1", "main bearing")}


def test_a_sheet_without_the_habit_implies_nothing(tmp_path: Path) -> None:
    shop = CsvWorkshop(tmp_path)
    shop.load(FILES)
    assert shop.ask("select count(*) from finding where from_habit") == [(0,)]
