"""Parts usage counts pieces fitted by the month in which the job was put together."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest

from tests.small_workshop import load_rows, shown


def _workshop(folder: Path, pieces_of_month: list[int], **line: Any) -> Path:
    """Load one job a month from 2018-01 on, each using some pieces of part R2 at 10.00."""
    months = [dt.date(2018 + i // 12, 1 + i % 12, 15) for i in range(len(pieces_of_month))]
    jobs = [
        {"job": f"J{i}", "unit": "U1", "kind": "part_rebuild", "opened": day, "closed": day, "delivered": day}
        for i, day in enumerate(months)
    ]
    lines = [
        {"job": f"J{i}", "part": "R2", "movement": "fitted", "quantity": n, "unit_cost": 10, **line}
        for i, n in enumerate(pieces_of_month)
        if n
    ]
    return load_rows(
        folder,
        {
            "family": [{"family": "K4", "kind": "gearbox"}],
            "part": [{"part": "R2", "description": "ring", "component": "synchroniser_ring"}],
            "unit": [{"unit": "U1", "family": "K4"}],
            "job": jobs,
            "part_line": lines,
        },
    )


def test_use_of_the_last_twelve_whole_months_and_spend(tmp_path: Path) -> None:
    folder = _workshop(tmp_path, [1] * 12 + [2] * 12 + [5])
    row = shown(folder, "parts-usage", "--as-of", "2020-01-20")["rows"][0]  # January 2020 is not whole yet
    assert (row["used_last_12_months"], row["used_12_months_before"]) == (24, 12)
    assert row["spend_last_12_months"] == 240
    assert row["per_100_jobs"] == 100


def test_steady_growth_is_recovered(tmp_path: Path) -> None:
    """Twice as many a year: change of 100 % a year."""
    pieces = [round(20 * 2 ** (month / 12)) for month in range(36)]
    row = shown(_workshop(tmp_path, pieces), "parts-usage", "--as-of", "2021-01-02")["rows"][0]
    assert row["change_per_year"] == pytest.approx(1.0, abs=0.02)
    assert row["change_low"] < 1.0 < row["change_high"]


def test_few_uses_are_a_sentence(tmp_path: Path) -> None:
    row = shown(_workshop(tmp_path, [0, 1, 0, 1] * 6), "parts-usage", "--as-of", "2020-01-02")["rows"][0]
    assert row["change_per_year"] is not None or row["said"].startswith("too few to say (")


@pytest.mark.parametrize("origin", ["own_refitted", "customer_supplied"])
def test_own_and_customers_parts_are_not_use(tmp_path: Path, origin: str) -> None:
    assert shown(_workshop(tmp_path, [1] * 14, origin=origin), "parts-usage", "--as-of", "2019-03-02")["rows"] == []


def test_parts_sent_back_are_not_use(tmp_path: Path) -> None:
    assert (
        shown(_workshop(tmp_path, [1] * 14, movement="returned"), "parts-usage", "--as-of", "2019-03-02")["rows"] == []
    )
