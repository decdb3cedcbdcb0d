"""What each record says of a component's life: ages on the unit's own distance, and why others are left out."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest

from analytics.component_lives import REASONS, lives_on_the_road, lives_that_came_in
from tests.small_workshop import Rows, history, load_rows

D = dt.date
NEW, FIRST, SECOND, ASKED = D(2015, 1, 1), D(2018, 1, 1), D(2020, 1, 1), D(2021, 1, 1)


def _unit(unit: str, **more: Any) -> dict[str, Any]:
    return {"unit": unit, "family": "K4", "in_service_since": NEW, "lives_known_from_new": True, **more}


def _fitting(unit: str, day: dt.date = NEW, odometer: int = 0, **more: Any) -> dict[str, Any]:
    return {"unit": unit, "fitted_from": day, "vehicle": f"V{unit}", "odometer": odometer, **more}


def _job(job: str, unit: str, day: dt.date, km: float | None, **more: Any) -> dict[str, Any]:
    return {"job": job, "unit": unit, "kind": "full_rebuild", "opened": day, "torn_down": day, "closed": day,
            "odometer": km, "usage_basis": "read", **more}  # fmt: skip


def _finding(job: str, grade: int, role: str, action: str = "reused") -> dict[str, Any]:
    return {"job": job, "position": "ring", "grade": grade, "role": role, "action": action}


def _load(folder: Path, records: dict[str, Rows]) -> Path:
    base: dict[str, Rows] = {
        "family": [{"family": "K4", "kind": "gearbox"}],
        "position": [{"family": "K4", "position": "ring", "component": "synchroniser_ring"}],
    }
    return load_rows(folder, base | records)


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a workshop without a register in which each unit shows one rule."""
    units = [*"ABCDEFGHIJ", "K", "L", "M"]
    return _load(
        tmp_path_factory.mktemp("bench"),
        {
            "unit": [
                _unit(u) if u not in ("F", "J") else {"unit": u, "family": "K4"} for u in units
            ],
            "fitting": [
                *[_fitting(u, unit_distance=0) for u in units if u not in ("B", "E", "F", "I")],
                _fitting("B", odometer=50_000),  # a new unit in a used vehicle
                _fitting("F", D(2016, 1, 1), odometer=30_000),
            ],
            "job": [
                _job("A1", "A", FIRST, 90_000, odometer_since=84_000),
                _job("B1", "B", FIRST, 130_000),
                _job("C1", "C", FIRST, 70_000),
                _job("C2", "C", SECOND, 110_000),
                _job("D1", "D", FIRST, 60_000),
                _job("D2", "D", SECOND, 100_000),
                _job("E1", "E", FIRST, None, unit_distance=75_000),
                _job("F1", "F", FIRST, 80_000),
                _job("F2", "F", SECOND, 130_000),
                _job("G1", "G", FIRST, None, usage_basis="unknown"),
                _job("H1", "H", FIRST, 20_000, usage_basis="clock_replaced"),
                _job("I1", "I", FIRST, 88_000),
                _job("J1", "J", FIRST, 88_000),
                _job("K1", "K", FIRST, 66_000, earlier_work="others"),
                _job("L1", "L", FIRST, 40_000),
                _job("L2", "L", SECOND, 90_000),
                _job("M1", "M", FIRST, 36_500, complaint_since=D(2017, 1, 1)),
            ],
            "finding": [
                _finding("A1", 3, "cause", "replaced_failed"),
                _finding("B1", 1, "sound", "replaced_routine"),
                _finding("C1", 1, "sound"),
                _finding("C2", 3, "failed", "replaced_failed"),
                _finding("D1", 3, "failed", "left_worn"),
                _finding("D2", 4, "failed", "replaced_failed"),
                _finding("E1", 4, "failed", "replaced_failed"),
                _finding("F1", 3, "failed", "replaced_failed"),
                _finding("F2", 2, "worn"),
                _finding("G1", 3, "cause", "replaced_failed"),
                _finding("H1", 3, "cause", "replaced_failed"),
                _finding("I1", 1, "sound"),
                _finding("J1", 1, "sound"),
                _finding("K1", 1, "sound"),
                _finding("L1", 3, "failed", "replaced_failed"),
                _finding("L2", 1, "sound"),
                _finding("M1", 3, "cause", "replaced_failed"),
            ],
            "part_line": [
                {"job": "L1", "part": "RING", "movement": "fitted", "position": "ring", "origin": "used_donor",
                 "quantity": 1}
            ],
            "part": [{"part": "RING", "component": "synchroniser_ring"}],
        },
    )  # fmt: skip


def _told(folder: Path, as_of: dt.date = ASKED) -> dict[str, list[tuple[Any, ...]]]:
    rows = lives_that_came_in(history(folder, as_of)).rows
    told: dict[str, list[tuple[Any, ...]]] = {}
    for unit, kind, lower, upper, origin in rows.select("unit", "kind", "lower", "upper", "origin").iter_rows():
        told.setdefault(unit, []).append((kind, lower, upper, origin))
    return {unit: sorted(lives, key=str) for unit, lives in told.items()}


def test_each_record_says_what_it_says(bench: Path) -> None:
    told = _told(bench)
    assert told["A"] == [("exact", 84_000, 84_000, "from_new")]  # the cause, since an odometer written down
    assert told["B"] == [("right", 80_000, None, "from_new")]  # the unit's own distance, not the vehicle's
    assert told["C"] == [("interval", 70_000, 110_000, "from_new")]  # good once, failed later: one life
    assert told["D"] == [("left", 0, 60_000, "from_new")]  # left worn: found failed once only
    assert told["E"] == [("left", 0, 75_000, "from_new")]  # the unit's own distance is written down
    assert told["F"] == [("right", 50_000, None, "fitted_here")]  # unknown before, known since it was fitted here
    assert told["L"] == [("left", 0, 40_000, "from_new")]  # the donor part after it has no known age


def test_a_complaint_with_a_day_only_is_placed_between_readings(bench: Path) -> None:
    """36,500 km in 1,096 days from new: on the 731st day some 24,344 km, by the straight line."""
    ((kind, lower, upper, _),) = _told(bench)["M"]
    assert kind == "interval"
    assert lower == pytest.approx(36_500 * 731 / 1096, abs=1)
    assert upper == 36_500


def test_every_look_left_out_is_counted_by_its_reason(bench: Path) -> None:
    excluded = dict(lives_that_came_in(history(bench, ASKED)).excluded.iter_rows())
    counts = {reason: excluded[text] for reason, text in REASONS.items() if text in excluded}
    assert counts == {
        "origin_unknown": 2,  # F1 and J1
        "usage_unknown": 1,  # G
        "clock_replaced": 1,  # H
        "no_vehicle": 1,  # I1
        "opened_by_others": 1,  # K
        "part_of_unknown_age": 1,  # L2
        "failed_before": 1,  # D2
    }


def test_nothing_after_the_day_is_visible(bench: Path) -> None:
    told = _told(bench, D(2019, 1, 1))
    assert told["C"] == [("right", 70_000, None, "from_new")]
    assert "F" not in told


@pytest.fixture(scope="module")
def fleet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a fleet on a register: one that never came, one listed late, one retired, one opened elsewhere."""
    listed = {"fleet": "Fleet", "listed": NEW, "unit_distance": 0}
    units = ["never", "late", "retired", "elsewhere", "renewed"]
    return _load(
        tmp_path_factory.mktemp("fleet"),
        {
            "unit": [_unit(u, register_entry=D(2018, 1, 1) if u == "late" else NEW) for u in units],
            "fitting": [
                _fitting(u, **(listed | ({"listed": D(2018, 1, 1)} if u == "late" else {}))) for u in units
            ],
            "sighting": [
                *[
                    {"unit": u, "seen": D(year, 1, 1), "odometer": 20_000 * (year - 2015), "state": "running",
                     "source": "register"}
                    for u in units for year in range(2016, 2021)
                    if not (u == "late" and year < 2018) and not (u == "retired" and year > 2018)
                ],
                {"unit": "retired", "seen": D(2018, 7, 2), "odometer": 70_000, "state": "retired",
                 "source": "register"},
                {"unit": "elsewhere", "seen": D(2018, 7, 2), "odometer": 70_000, "state": "opened_elsewhere",
                 "source": "register"},
            ],
            "job": [_job("R1", "renewed", D(2018, 1, 1), 60_000)],
            "finding": [_finding("R1", 3, "failed", "replaced_failed")],
        },
    )  # fmt: skip


def test_units_that_never_came_run_on_at_their_own_pace(fleet: Path) -> None:
    lives = lives_on_the_road(history(fleet, ASKED)).rows
    told = {
        (unit, origin): (kind, round(lower), upper, round(entry))
        for unit, origin, kind, lower, upper, entry in lives.select(
            "unit", "origin", "kind", "lower", "upper", "entry"
        ).iter_rows()
    }
    ahead = 20_000 * 366 / 365  # from the last sighting to the day asked, at the pace of the last year
    assert told["never", "from_new"] == ("right", round(100_000 + ahead), None, 0)
    assert told["late", "from_new"] == ("right", round(100_000 + ahead), None, 60_000)
    assert told["retired", "from_new"] == ("right", 70_000, None, 0)
    assert told["elsewhere", "from_new"] == ("right", 70_000, None, 0)
    assert told["renewed", "from_new"] == ("left", 0, 60_000, 0)
    assert told["renewed", "fitted_here"] == ("right", round(40_000 + ahead), None, 0)


def test_only_what_was_imputed_is_drawn(fleet: Path) -> None:
    lives = lives_on_the_road(history(fleet, ASKED)).rows
    spread = {unit: max(draws) - min(draws) for unit, draws in lives.select("unit", "draws").iter_rows() if draws}
    assert spread["never"] > 0
    assert spread["retired"] == 0


def test_the_register_is_not_read_ahead(fleet: Path) -> None:
    lives = lives_on_the_road(history(fleet, D(2017, 1, 1))).rows
    assert sorted(lives["unit"].to_list()) == ["elsewhere", "never", "renewed", "retired"]
    assert lives["lower"].to_list() == pytest.approx([40_000] * 4)
