"""Visits per unit: who is followed from when, and what counts as a visit."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.estimators.mean_cumulative_function import mean_cumulative_function
from analytics.estimators.mean_cumulative_values import mean_cumulative_values
from tests.small_workshop import load_rows, shown

D = dt.date


def _job(job: str, unit: str, day: dt.date, delivered: dt.date | None = None) -> dict[str, Any]:
    return {"job": job, "unit": unit, "kind": "full_rebuild", "opened": day, "closed": delivered,
            "delivered": delivered}  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return 12 units known by their first visit, of which some come again, and 16 on a register that never came."""
    first, out = D(2018, 1, 1), D(2018, 1, 10)
    loose, listed = [f"L{i:02d}" for i in range(12)], [f"R{i:02d}" for i in range(16)]
    return load_rows(
        tmp_path_factory.mktemp("visits"),
        {
            "family": [{"family": "K4", "kind": "gearbox"}],
            "unit": [
                *[{"unit": u, "family": "K4"} for u in loose],
                *[{"unit": u, "family": "K4", "register_entry": D(2018, 1, 10)} for u in listed],
            ],
            "job": [
                *[_job(f"J{u}a", u, first, out) for u in loose],
                *[_job(f"J{u}b", u, D(2018, 7, 1), D(2018, 7, 9)) for u in loose[:6]],
                *[_job(f"J{u}c", u, D(2022, 1, 1)) for u in loose[:2]],
            ],
            "sighting": [
                {"unit": u, "seen": D(2018, 4, 1), "state": "retired", "source": "register"} for u in listed[:4]
            ],
        },
    )  # fmt: skip


def test_the_visit_that_made_a_unit_known_is_not_counted(folder: Path) -> None:
    row = shown(folder, "visits-per-unit", "--as-of", "2019-06-01")["rows"][0]
    assert (row["units"], row["counted"], row["months"]) == (28, 6, 12)
    assert row["visits"] == pytest.approx(6 / 24)  # 4 of the 28 had retired before
    assert row["at_risk"] == 24


def test_groups_are_told_apart(folder: Path) -> None:
    rows = shown(folder, "visits-per-unit", "--as-of", "2019-06-01", "--by", "family")["rows"]
    assert {row["group"] for row in rows} == {"K4"}


def test_too_few_are_told_so(folder: Path) -> None:
    answer = shown(folder, "visits-per-unit", "--as-of", "2018-06-01")
    assert answer["rows"][0]["said"] == "too few to say (0 of 10 units still followed)"
    assert answer["answer"].startswith("Too few to say")


def test_what_rests_on_silence_is_said(folder: Path) -> None:
    answer = shown(folder, "visits-per-unit", "--as-of", "2021-06-01")
    assert "12 units stand on no register" in answer["notes"][0]
    moves = [line["moves"] for line in answer["assumptions"] if line["alternative"]]
    assert moves == ["0.25 visits within 24 months become 0.00"]


@settings(deadline=None, max_examples=40)
@given(
    st.lists(st.integers(1, 60), min_size=2, max_size=15),
    st.lists(st.tuples(st.integers(0, 14), st.integers(1, 60)), max_size=40),
)
def test_values_are_those_of_the_function_unit_by_unit(ends: list[int], events: list[tuple[int, int]]) -> None:
    inside = [(u, a) for u, a in events if u < len(ends) and a <= ends[u]]
    if not inside:
        return
    unit, age = (np.array(column) for column in zip(*inside, strict=True))
    whole = mean_cumulative_function(np.zeros(len(ends)), ends, unit, age)
    found = mean_cumulative_values(ends, unit, age, whole.age)
    assert found.mean == pytest.approx(whole.mean)
    assert found.standard_error == pytest.approx(whole.standard_error, abs=1e-12)


def test_an_event_after_the_end_is_refused() -> None:
    with pytest.raises(ValueError, match="outside its unit's observation"):
        mean_cumulative_values([5.0], [0], [6.0], [1.0])
