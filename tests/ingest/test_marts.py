"""Check the marts by hand: the comeback rule, the part that sat there before, packs, use and fleet at each visit."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from analytics.history import History
from analytics.warehouse_file import open_warehouse
from tests.csv_workshop import BASE, CsvWorkshop

HEADING = "job,unit,kind,opened,torn_down,closed,delivered"


def _job(job: str, unit: str, opened: str, more: int = 10) -> str:
    day = dt.date.fromisoformat(opened)
    days = [day, day + dt.timedelta(1), day + dt.timedelta(more - 1), day + dt.timedelta(more)]
    return ",".join([job, unit, "full rebuild", *(d.isoformat() for d in days)])


def _shop(tmp_path: Path, jobs: list[str], **files: str) -> CsvWorkshop:
    shop = CsvWorkshop(tmp_path)
    told = {name.replace("_", " ") + ".csv": text for name, text in files.items()}
    report = shop.load({**BASE, "jobs.csv": "\n".join([HEADING, *jobs]), **told})
    assert report.standing["quarantined"] == 0
    return shop


LINK = "select comeback_job, original_job, reported::varchar, given, position from comeback_link order by all"


def test_a_comeback_is_inferred_from_the_latest_job_that_touched_the_component(tmp_path: Path) -> None:
    jobs = [
        _job("A", "U1", "2020-01-01"), _job("B", "U1", "2020-06-01"), _job("C", "U1", "2020-09-01"),
        _job("D", "U1", "2021-03-01"),
    ]  # fmt: skip
    findings = """
        job,position,grade,role,action
        A,2nd ring,2,worn,replaced routine
        B,2nd ring,1,sound,adjusted
        C,main bearing,1,sound,reused
        D,2nd ring,4,cause,replaced failed
        D,main bearing,3,failed,replaced failed
    """
    shop = _shop(tmp_path, jobs, findings=findings)
    # C touched nothing, A is older than B; D comes back within 731 days of both.
    assert shop.ask(LINK) == [("D", "B", "2021-03-01", False, "2nd ring")]


@pytest.mark.parametrize(("days", "found"), [(731, True), (732, False), (0, True)])
def test_the_window_is_fixed_whatever_was_sold(tmp_path: Path, days: int, found: bool) -> None:
    delivered = dt.date(2020, 1, 11)
    jobs = [_job("A", "U1", "2020-01-01"), _job("B", "U1", (delivered + dt.timedelta(days)).isoformat())]
    findings = "job,position,grade,action\nA,2nd ring,2,replaced routine\nB,2nd ring,3,\n"
    shop = _shop(tmp_path, jobs, findings=findings)
    assert bool(shop.ask(LINK)) == found


@pytest.mark.parametrize(
    ("earlier", "later", "unit"),
    [
        ("A,2nd ring,2,replaced routine", "B,main bearing,4,", "U1"),  # another component
        ("A,2nd ring,2,reused", "B,2nd ring,4,", "U1"),  # not touched
        ("A,2nd ring,2,replaced routine", "B,2nd ring,2,replaced failed", "U1"),  # worn is not failed
        ("A,2nd ring,2,replaced routine", "B,2nd ring,4,", "U2"),  # another unit
    ],
)
def test_no_comeback_is_inferred(tmp_path: Path, earlier: str, later: str, unit: str) -> None:
    jobs = [_job("A", "U1", "2020-01-01"), _job("B", unit, "2020-06-01")]
    shop = _shop(tmp_path, jobs, findings=f"job,position,grade,action\n{earlier}\n{later}\n")
    assert shop.ask(LINK) == []


def test_a_part_fitted_counts_as_touched_and_a_given_link_stands_beside(tmp_path: Path) -> None:
    jobs = [_job("A", "U1", "2020-01-01"), _job("B", "U1", "2020-06-01")]
    shop = _shop(
        tmp_path, jobs,
        parts="part,description\nP1,ring\n",
        part_lines="job,part,quantity (pieces),position,movement\nA,P1,1,2nd ring,\nA,P1,1,main bearing,left over\n",
        findings="job,position,grade\nB,2nd ring,4\nB,main bearing,4\n",
        comebacks="original_job,comeback_job,reported\nA,B,2020-05-20\n",
    )  # fmt: skip
    assert shop.ask(LINK) == [("B", "A", "2020-05-20", True, None), ("B", "A", "2020-06-01", False, "2nd ring")]
    opened = open_warehouse(shop.records)
    # On the day it was reported it was not known which job it would become.
    early = History(opened, dt.date(2020, 5, 25)).query("select original_job, comeback_job from known_comeback_link")
    assert early.rows() == [("A", None)]
    opened.close()


def test_the_part_found_is_the_latest_that_was_fitted_before(tmp_path: Path) -> None:
    jobs = [_job("A", "U1", "2020-01-01"), _job("B", "U1", "2020-06-01"), _job("C", "U1", "2021-06-01")]
    lines = """
        job,part,quantity (pieces),position,supplier,movement
        A,P1,1,2nd ring,Alder,fitted
        B,P1,1,2nd ring,Birch,
        B,P1,1,main bearing,Birch,sent back
        C,P1,1,2nd ring,Cedar,fitted
    """
    shop = _shop(tmp_path, jobs, parts="part,description\nP1,ring\n", part_lines=lines,
                 findings="job,position,grade\nB,2nd ring,1\nC,2nd ring,3\nC,main bearing,1\n")  # fmt: skip
    told = shop.ask(
        "select job, position, supplier, fitted_by_job, fitted_on::varchar "
        "from component_finding_with_part order by 1, 2"
    )
    assert told == [
        ("B", "2nd ring", "Alder", "A", "2020-01-10"), ("C", "2nd ring", "Birch", "B", "2020-06-10"),
        ("C", "main bearing", None, None, None),
    ]  # fmt: skip


def test_of_an_open_job_only_what_is_said_to_be_fitted_is_used(tmp_path: Path) -> None:
    jobs = [_job("A", "U1", "2020-01-01"), "B,U2,full rebuild,2020-02-01,,,"]
    lines = """
        job,part,quantity (pieces),movement,ordered
        A,P1,2,,2019-12-20
        B,P1,1,,2020-02-02
        B,P2,1,fitted,2020-02-02
        A,P3,1,sent back,
    """
    shop = _shop(tmp_path, jobs, parts="part,description\nP1,ring\nP2,seal\nP3,fork\n", part_lines=lines)
    used = shop.ask("select job, part, quantity_milli, used_on::varchar, family from part_use order by 1, 2")
    assert used == [("A", "P1", 2000, "2020-01-10", "K4"), ("B", "P2", 1000, "2020-02-02", "K4")]


def test_packs_add_up_their_pieces(tmp_path: Path) -> None:
    shop = _shop(
        tmp_path, [_job("A", "U1", "2020-01-01")],
        shims="""
            job,location,stage,trial,thickness (mm),pieces,thickness_basis
            A,front,as found,,0.10,2,measured
            A,front,as found,,0.15,,measured
            A,front,trial,1,0.20,1,nominal
            A,front,trial,2,0.25,1,measured
        """,
    )  # fmt: skip
    told = shop.ask("select stage, trial, total_um, pieces, measured, family from pack order by 1, 2")
    assert told == [
        ("as_found", 0, 350, 3, True, "K4"),
        ("trial", 1, 200, 1, False, "K4"),
        ("trial", 2, 250, 1, True, "K4"),
    ]


def test_fleet_and_duty_are_those_of_the_vehicle_known_at_the_visit(tmp_path: Path) -> None:
    jobs = [_job("A", "U1", "2020-01-01"), _job("B", "U1", "2021-01-01"), _job("C", "U1", "2022-01-01")]
    fittings = """
        unit,fitted_from,fleet,duty,listed
        U1,2019-01-01,North,tow,
        U1,2020-06-01,South,delivery,2021-06-01
    """
    shop = _shop(tmp_path, jobs, fittings=fittings)
    # The second vehicle was listed only after visit B.
    assert shop.ask("select job, fleet, duty from visit order by 1") == [
        ("A", "North", "tow"), ("B", "North", "tow"), ("C", "South", "delivery"),
    ]  # fmt: skip


def test_a_field_without_a_day_of_its_own_is_known_when_the_job_was_put_together(tmp_path: Path) -> None:
    shop = CsvWorkshop(tmp_path)
    shop.load({**BASE, "gear sets.csv": "set_number,family\nS1,A7\n", "jobs.csv": """
        job,unit,kind,opened,torn_down,closed,gear_set_found
        A,U3,full rebuild,2020-01-01,,2020-01-10,S1
        B,U3,full rebuild,2020-02-01,2020-02-03,2020-02-10,S1
    """})  # fmt: skip
    opened = open_warehouse(shop.records)

    def found(day: str) -> list[tuple[str | None]]:
        return (
            History(opened, dt.date.fromisoformat(day))
            .query("select gear_set_found from known_job order by job")
            .rows()
        )

    assert found("2020-01-09") == [(None,)]
    assert found("2020-01-10") == [("S1",)]
    assert found("2020-02-02") == [("S1",), (None,)]
    assert found("2020-02-03") == [("S1",), ("S1",)]
    opened.close()


def test_a_day_before_the_last_date_on_any_clock_is_masked(tmp_path: Path) -> None:
    shop = CsvWorkshop(tmp_path)
    shop.load({**BASE, "jobs.csv": f"{HEADING}\nA,U1,full rebuild,2020-01-01,2020-01-02,2020-01-03,2020-03-01\n"})
    opened = open_warehouse(shop.records)
    known = "select delivered::varchar from known_job"
    assert History(opened, dt.date(2020, 2, 1)).query(known).rows() == [(None,)]
    assert History(opened, dt.date(2020, 3, 1)).query(known).rows() == [("2020-03-01",)]
    opened.close()
