"""The denominator of a failure rate is the positions inspected in full strips, and the sampling unit is the unit."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest

from analytics.estimators.proportion import wilson
from tests.small_workshop import load_rows, shown

D = dt.date
SPRING = dt.date(2020, 3, 1)


def _workshop(folder: Path, findings: list[dict[str, Any]], jobs: list[dict[str, Any]], **more: Any) -> Path:
    units = sorted({job["unit"] for job in jobs})
    return load_rows(
        folder,
        {
            "family": [{"family": "K4", "kind": "gearbox"}],
            "position": [
                {"family": "K4", "position": "2nd ring", "component": "synchroniser_ring"},
                {"family": "K4", "position": "front bearing", "component": "bearing"},
            ],
            "unit": more.pop("unit", [{"unit": unit, "family": "K4"} for unit in units]),
            "job": jobs,
            "finding": findings,
            **more,
        },
    )


def _job(number: int, unit: int, kind: str = "full_rebuild", day: dt.date = SPRING) -> dict[str, Any]:
    return {"job": f"J{number}", "unit": f"U{unit}", "kind": kind, "opened": day, "torn_down": day}


def test_part_rebuilds_are_shown_apart(tmp_path: Path) -> None:
    jobs = [*(_job(i, i) for i in range(20)), *(_job(i, i, "part_rebuild") for i in range(20, 30))]
    findings = [{"job": f"J{i}", "position": "2nd ring", "grade": 3 if i % 4 == 0 else 1} for i in range(30)]
    row = shown(_workshop(tmp_path, findings, jobs), "failure-rates", "--as-of", "2021-01-01")["rows"][0]
    assert (row["failed"], row["inspected"], row["part_failed"], row["part_inspected"]) == (5, 20, 3, 10)
    expected = wilson([5], [20])
    assert row["rate_low"] == pytest.approx(expected.lower[0])
    assert row["rate_high"] == pytest.approx(expected.upper[0])


def test_failed_comes_from_grade_and_role_never_from_replaced(tmp_path: Path) -> None:
    jobs = [_job(i, i) for i in range(12)]
    findings = [
        {"job": f"J{i}", "position": "2nd ring", "grade": 1, "role": "sound", "action": "replaced_routine"}
        for i in range(11)
    ]
    findings.append({"job": "J11", "position": "2nd ring", "grade": 2, "role": "cause", "action": "reused"})
    row = shown(_workshop(tmp_path, findings, jobs), "failure-rates", "--as-of", "2021-01-01")["rows"][0]
    assert (row["failed"], row["inspected"]) == (1, 12)


def test_a_unit_inspected_often_widens_the_interval(tmp_path: Path) -> None:
    jobs = [_job(i, i // 4, day=D(2020, 1 + i % 4, 1)) for i in range(40)]
    findings = [{"job": f"J{i}", "position": "2nd ring", "grade": 3 if (i // 4) % 2 else 1} for i in range(40)]
    row = shown(_workshop(tmp_path, findings, jobs), "failure-rates", "--as-of", "2021-01-01")["rows"][0]
    plain = wilson([20], [40])
    assert row["rate_high"] - row["rate_low"] > 1.5 * (plain.upper[0] - plain.lower[0])


def test_too_few_is_a_sentence_and_not_a_number(tmp_path: Path) -> None:
    findings = [{"job": f"J{i}", "position": "2nd ring", "grade": 3} for i in range(4)]
    answer = shown(
        _workshop(tmp_path, findings, [_job(i, i) for i in range(4)]), "failure-rates", "--as-of", "2021-01-01"
    )
    assert answer["rows"][0]["rate"] is None
    assert answer["rows"][0]["said"] == "too few to say (4 of 10 inspected)"
    assert answer["answer"] == "Too few to say (4 of 10 inspected in full strips)."


def test_what_is_known_later_is_not_counted_earlier(tmp_path: Path) -> None:
    jobs = [_job(i, i, day=D(2020, 1, 1) + dt.timedelta(days=i)) for i in range(20)]
    findings = [{"job": f"J{i}", "position": "2nd ring", "grade": 3} for i in range(20)]
    folder = _workshop(tmp_path, findings, jobs)
    assert shown(folder, "failure-rates", "--as-of", "2020-01-12")["rows"][0]["inspected"] == 12


def test_rate_per_distance_counts_registered_units_only(tmp_path: Path) -> None:
    """Three registered units run 100,000 km each; two failures of the ring are found in them: 2 / 300,000 km."""
    register = [{"unit": f"U{i}", "family": "K4", "register_entry": D(2019, 1, 1)} for i in range(3)]
    unit = [*register, {"unit": "U9", "family": "K4"}]
    fitting = [{"unit": f"U{i}", "fitted_from": D(2019, 1, 1), "odometer": 0, "fleet": "North"} for i in range(3)]
    sighting = [
        {"unit": f"U{i}", "seen": D(2021, 1, 1), "odometer": 100_000, "state": "running", "source": "register"}
        for i in range(3)
    ]
    findings = [{"job": f"J{i}", "position": "2nd ring", "grade": 3} for i in (0, 1, 9)]
    jobs = [_job(i, i) for i in (0, 1, 9)]
    folder = _workshop(tmp_path, findings, jobs, unit=unit, fitting=fitting, sighting=sighting)
    row = shown(folder, "failure-rates", "--as-of", "2021-06-01", "--position", "2nd ring")["rows"][0]
    assert row["exposure_km"] == pytest.approx(300_000)
    assert row["per_100000_km"] == pytest.approx(2 / 3)
    # Garwood's exact Poisson limits for 2 events: 0.2422 and 7.2247 (standard table, from memory).
    assert row["per_100000_km_low"] == pytest.approx(0.2422 / 3, abs=1e-4)
    assert row["per_100000_km_high"] == pytest.approx(7.2247 / 3, abs=1e-4)


def test_supplier_is_that_of_the_part_found_not_of_the_part_fitted(tmp_path: Path) -> None:
    first = [{**_job(i, i), "closed": D(2020, 3, 5), "delivered": D(2020, 3, 6)} for i in range(10)]
    second = [_job(100 + i, i, day=D(2021, 3, 1)) for i in range(10)]
    findings = [{"job": job["job"], "position": "2nd ring", "grade": 3} for job in [*first, *second]]
    lines = [
        {"job": f"J{i}", "part": "R2", "movement": "fitted", "position": "2nd ring", "supplier": "Alder", "quantity": 1}
        for i in range(10)
    ]
    folder = _workshop(tmp_path, findings, [*first, *second], part_line=lines)
    rows = {r["group"]: r for r in shown(folder, "failure-rates", "--as-of", "2022-01-01", "--by", "supplier")["rows"]}
    assert (rows["Alder"]["inspected"], rows["not known"]["inspected"]) == (10, 10)


def test_positions_that_no_record_declares_are_counted_by_their_name(tmp_path: Path) -> None:
    jobs = [_job(i, i) for i in range(12)]
    folder = load_rows(
        tmp_path,
        {
            "unit": [{"unit": f"U{i}", "family": "K4"} for i in range(12)],
            "job": jobs,
            "finding": [{"job": f"J{i}", "position": "2nd ring", "grade": 3} for i in range(12)],
        },
    )
    row = shown(folder, "failure-rates", "--as-of", "2021-01-01")["rows"][0]
    assert (row["family"], row["position"], row["component"]) == ("K4", "2nd ring", None)
    assert (row["failed"], row["inspected"]) == (12, 12)
