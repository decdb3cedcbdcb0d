"""Comebacks by cause, quarter and chain on a small workshop: shares add up, declined scope is apart, ends compete."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest

from analytics.comeback_links import chains
from tests.small_workshop import history, load_rows, shown

D = dt.date
DELIVERED = D(2020, 1, 10)
AS_OF = "2024-01-01"
REGISTERED = D(2019, 1, 1)


def workshop(folder: Path, jobs: int = 30, **more: list[dict[str, Any]]) -> Path:
    """Load so many registered units, each rebuilt once on the same day, and what a test adds."""
    records: dict[str, list[dict[str, Any]]] = {
        "family": [{"family": "K4", "kind": "gearbox"}],
        "position": [
            {"family": "K4", "position": "2nd ring", "component": "synchroniser_ring"},
            {"family": "K4", "position": "input seal", "component": "seal"},
        ],
        "unit": [{"unit": f"U{i:02}", "family": "K4", "register_entry": REGISTERED} for i in range(jobs)],
        "job": [
            {
                "job": f"J{i:02}", "unit": f"U{i:02}", "kind": "full_rebuild", "opened": D(2020, 1, 1),
                "closed": DELIVERED, "delivered": DELIVERED, "warranty_months": 12,
                "declined": "input seal" if i < 10 else None,
            }
            for i in range(jobs)
        ],
    }  # fmt: skip
    for name, rows in more.items():
        records[name] = [*records.get(name, []), *rows]
    return load_rows(folder, records)


def back(job: int, days: int, outcome: str | None, position: str | None = None, **more: Any) -> dict[str, Any]:
    reported = DELIVERED + dt.timedelta(days=days)
    return {"original_job": f"J{job:02}", "reported": reported, "outcome": outcome, "position": position, **more}


def at_12(folder: Path, by: str) -> dict[str, dict[str, Any]]:
    rows = shown(folder, "comebacks", "--by", by, "--as-of", AS_OF)["rows"]
    return {row["group"]: row for row in rows if row["months"] == 12}


def test_shares_by_outcome_add_up_to_all_comebacks(tmp_path: Path) -> None:
    folder = workshop(
        tmp_path,
        comeback=[back(0, 30, "our_work"), back(1, 60, "part"), back(2, 90, "part"), back(3, 200, None)],
        sighting=[{"unit": "U05", "seen": D(2020, 5, 1), "state": "retired", "source": "register"}],
    )
    told = at_12(folder, "outcome")
    assert {name: row["comebacks"] for name, row in told.items()} == {
        "part": 2, "our_work": 1, "not written down": 1, "retired before coming back": 1,
    }  # fmt: skip
    # By hand: 30 at risk for the first three; one retired on day 112, so 26 are left on day 200.
    assert told["part"]["share"] == pytest.approx(2 / 30)
    assert told["our_work"]["share"] == pytest.approx(1 / 30)
    assert told["not written down"]["share"] == pytest.approx((27 / 30) * (26 / 27) / 26)
    assert told["retired before coming back"]["share"] == pytest.approx((27 / 30) / 27)


def test_a_fault_in_what_was_declined_is_apart(tmp_path: Path) -> None:
    folder = workshop(
        tmp_path,
        comeback=[
            back(0, 30, "our_work", "input seal"),
            back(15, 40, "our_work", "input seal"),
            back(1, 50, "our_work", "2nd ring"),
        ],
    )
    told = at_12(folder, "scope")
    assert told["in what the customer declined"]["comebacks"] == 1
    assert told["in the agreed work"]["comebacks"] == 2
    assert at_12(folder, "component")["seal"]["comebacks"] == 2


def test_refitted_by_others_is_compared_with_by_us(tmp_path: Path) -> None:
    extra = [
        {
            "job": f"F{i}", "unit": f"U{i:02}", "kind": "reseal", "opened": D(2018, 1, 1), "closed": D(2018, 1, 2),
            "delivered": D(2018, 1, 2), "warranty_months": 12, "refitted_by": "fleet" if i < 12 else "us",
        }
        for i in range(30)
    ]  # fmt: skip
    rows = shown(workshop(tmp_path, job=extra), "comebacks", "--by", "refitted-by", "--as-of", AS_OF)["rows"]
    assert {row["group"]: row["jobs"] for row in rows} == {"fleet": 12, "us": 18, "not known": 30}


def test_young_quarters_are_marked_and_completed(tmp_path: Path) -> None:
    jobs = [
        {
            "job": f"N{i:03}", "unit": f"U{i % 30:02}", "kind": "reseal", "opened": D(2021, 1, 1) + dt.timedelta(days=20 * i),
            "closed": D(2021, 1, 1) + dt.timedelta(days=20 * i), "delivered": D(2021, 1, 1) + dt.timedelta(days=20 * i),
            "warranty_months": 24,
        }
        for i in range(50)
    ]  # fmt: skip
    comebacks = [
        {"original_job": f"N{i:03}", "reported": jobs[i]["delivered"] + dt.timedelta(days=40 + 9 * i)}
        for i in range(0, 50, 2)
        if jobs[i]["delivered"] + dt.timedelta(days=40 + 9 * i) < D(2024, 1, 1)
    ]
    rows = shown(workshop(tmp_path, job=jobs, comeback=comebacks), "comebacks", "--by", "quarter", "--as-of", AS_OF)[
        "rows"
    ]
    by_quarter = {row["group"]: row for row in rows}
    assert not by_quarter["2021 Q1"]["young"]
    assert by_quarter["2021 Q1"]["share"] == by_quarter["2021 Q1"]["so_far"]
    young = by_quarter["2023 Q2"]
    assert young["young"]
    assert young["share"] is None or young["share"] >= young["so_far"]
    assert [row["group"] for row in rows] == sorted((row["group"] for row in rows), reverse=True)


def test_a_comeback_of_a_comeback_belongs_to_the_first_job(tmp_path: Path) -> None:
    later = [
        {"job": name, "unit": "U00", "kind": "part_rebuild", "opened": day, "closed": day, "delivered": day}
        for name, day in (("B1", D(2020, 3, 1)), ("B2", D(2020, 6, 1)))
    ]
    folder = workshop(
        tmp_path,
        job=later,
        comeback=[
            {
                "original_job": "J00",
                "comeback_job": "B1",
                "reported": D(2020, 3, 1),
                "outcome": "our_work",
                "cost": 100,
            },
            {"original_job": "B1", "comeback_job": "B2", "reported": D(2020, 6, 1), "outcome": "part", "cost": 50},
            back(9, 20, "part"),
        ],
    )
    told = chains(history(folder, D(2024, 1, 1)))
    assert told.height == 1
    assert told.select("job", "came_back", "jobs", "outcomes", "cost").row(0) == (
        "J00",
        2,
        "B1, B2",
        "our work, part",
        150.0,
    )
    assert chains(history(folder, D(2020, 4, 1))).is_empty()
