"""Weeks observed and comebacks by age, practice and piece, on small workshops counted by hand; bands of like hazard."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest

from analytics.comeback_exposure import TOGETHER, Cells, bands_of, job_cells, mark_cells, piece_cells
from tests.rebuilt_workshop import AS_OF, back, workshop
from tests.small_workshop import history, shown


def counted(cells: Cells, *names: str) -> dict[Any, tuple[float, int, int]]:
    """Return days, events, and jobs that enter there, by the named columns."""
    told = cells.frame.group_by(names).agg(pl.col("days", "events", "jobs").sum())
    return {tuple(row[: len(names)]): tuple(row[len(names) :]) for row in told.iter_rows()}


def test_a_job_is_laid_out_over_the_ages_it_was_observed(tmp_path: Path) -> None:
    # A comes back on day 40 by our work; B on day 100 for a part, which ends its time but is not ours; C never.
    folder = workshop(
        tmp_path, [{"job": "A"}, {"job": "B"}, {"job": "C"}], comeback=[back("A", 40), back("B", 100, "part")]
    )
    cells = job_cells(history(folder, AS_OF), "'everybody'")
    # Bands of age: to 30, 91, 183, 365 and 732 days; C is followed for 731 days.
    assert counted(cells, "age") == {
        (0,): (90.0, 0, 3),  # 30 days each
        (1,): (10.0 + 61 + 61, 1, 0),  # A to day 40
        (2,): (9.0 + 92, 0, 0),  # B to day 100
        (3,): (182.0, 0, 0),
        (4,): (366.0, 0, 0),
    }
    assert cells.frame["weeks"].to_list() == np.ceil(cells.frame["days"].to_numpy() / 7).tolist()
    assert set(cells.frame["stratum"].to_list()) == {0}  # a single comeback: nothing to be banded by
    parts = job_cells(history(folder, AS_OF), "'everybody'", "o.first_outcome = 'part'")
    assert parts.frame.filter(pl.col("age") == 2)["events"].sum() == 1


def test_a_practice_is_set_against_the_same_work_done_the_other_way(tmp_path: Path) -> None:
    # A reused its slider with a new ring, B replaced both, C had no ring replaced: C is in neither.
    def found(job: str, ring: str, slider: str) -> list[dict[str, Any]]:
        return [
            {"job": job, "position": "2nd ring", "grade": 3, "action": ring},
            {"job": job, "position": "1-2 slider", "grade": 1, "action": slider},
        ]

    findings = [
        *found("A", "replaced_failed", "reused"), *found("B", "replaced_failed", "replaced_mate"),
        *found("C", "reused", "reused"),
    ]  # fmt: skip
    folder = workshop(tmp_path, [{"job": "A"}, {"job": "B"}, {"job": "C"}], finding=findings, comeback=[back("A", 40)])
    told = counted(mark_cells(history(folder, AS_OF)), "mark", "did")
    name = "slider reused with new rings"
    assert told[name, True] == (40.0, 1, 1)
    assert told[name, False] == (731.0, 0, 1)
    assert sum(mark == name for mark, _ in told) == 2


def test_a_piece_is_charged_with_comebacks_at_its_own_place(tmp_path: Path) -> None:
    # A and B have a ring of S1; A comes back for the ring, B for its seal, which ends the ring's time too.
    # The ring of C is of S2 and comes back by the fitter's fault; D's own ring was put back and is no piece.
    def ring(job: str, supplier: str, **more: Any) -> dict[str, Any]:
        return {"job": job, "part": "RING-2", "movement": "fitted", "position": "2nd ring", "supplier": supplier,
                "quantity": 1, **more}  # fmt: skip

    lines = [ring("A", "S1"), ring("B", "S1"), ring("C", "S2"), ring("D", "S2", origin="own_refitted")]
    folder = workshop(
        tmp_path, [{"job": name} for name in "ABCD"], part_line=lines,
        part=[{"part": "RING-2", "description": "ring"}],
        comeback=[back("A", 20, "part", "2nd ring"), back("B", 25, "part", "input seal"), back("C", 10, "fitter", "2nd ring")],
    )  # fmt: skip
    told = counted(piece_cells(history(folder, AS_OF), "p.supplier"), "group", "component")
    assert told == {("S1", "synchroniser_ring"): (45.0, 1, 2), ("S2", "synchroniser_ring"): (10.0, 0, 1)}


def test_lots_of_few_pieces_are_counted_together(tmp_path: Path) -> None:
    # Lot 1 has three pieces, lots 2 and 3 one each; D of lot 2 comes back on day 20 for its ring.
    lots = {"A": "1", "B": "1", "C": "1", "D": "2", "E": "3"}
    lines = [
        {"job": job, "part": "RING-2", "movement": "fitted", "position": "2nd ring", "lot": lot, "quantity": 1}
        for job, lot in lots.items()
    ]
    folder = workshop(
        tmp_path, [{"job": name} for name in lots], part_line=lines, part=[{"part": "RING-2", "description": "ring"}],
        comeback=[back("D", 20, "part", "2nd ring")],
    )  # fmt: skip
    told = counted(piece_cells(history(folder, AS_OF), "p.lot", least=3), "group")
    assert told == {("1",): (3 * 731.0, 0, 3), (TOGETHER,): (20.0 + 731, 1, 2)}


def test_bands_hold_as_many_expected_comebacks_each() -> None:
    # Hazards 1, 2, 3 and 4 a thousand weeks; 12, 12, 12 and 12 comebacks to be expected, given out of order.
    hazard = np.array([3.0, 1.0, 4.0, 2.0]) / 1000
    weeks = 12 / hazard
    assert bands_of(hazard, weeks, 2).tolist() == [1, 0, 1, 0]
    assert bands_of(hazard, weeks, 4).tolist() == [2, 0, 3, 1]


def test_a_group_with_harder_work_is_compared_within_its_band(tmp_path: Path) -> None:
    """MK does the work that comes back: 30 full rebuilds of which 12 come back, and 10 reseals of which none does.

    RS does 10 full rebuilds of which 4 come back (40 % as well) and 30 reseals, none back. Pooled, MK has three times
    RS's comebacks; in like work, 12 where RS's rate would have brought as many.
    """
    jobs, comebacks = [], []
    for who, full, bad, reseals in (("MK", 30, 12, 10), ("RS", 10, 4, 30)):
        for i in range(full + reseals):
            name, kind = f"{who}{i:02}", "full_rebuild" if i < full else "reseal"
            jobs.append({"job": name, "technician": who, "kind": kind})
            comebacks += [back(name, 100)] if i < bad else []
    folder = workshop(tmp_path, jobs, comeback=comebacks)
    rows = shown(folder, "compare", "--of", "technician", "--as-of", AS_OF.isoformat())["rows"]
    mine = next(row for row in rows if row["group"] == "MK")
    assert mine["observed"] == 12
    # Full rebuilds alone: MK's 30 jobs were followed three times as long as RS's 10, so that 4 make 12; the bands that
    # reseals share with the quiet ages of full rebuilds add little.
    assert mine["expected"] == pytest.approx(12, rel=0.15)
    assert mine["low"] < 1 < mine["high"]
    assert not mine["stands_out"]
