"""How long a delivered job is observed, and which comebacks count."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import polars as pl

from analytics.comeback_observations import comeback_observations, durations
from analytics.comebacks import given_only
from tests.small_workshop import history, load_rows, shown

D = dt.date
AS_OF = D(2024, 1, 1)


def _workshop(folder: Path, **more: list[dict[str, Any]]) -> Path:
    """Load one full rebuild (J1 of unit U1, delivered 2020-01-10, 12 months or 20,000 km) and what a test adds."""
    records: dict[str, list[dict[str, Any]]] = {
        "family": [{"family": "K4", "kind": "gearbox"}],
        "position": [
            {"family": "K4", "position": "2nd ring", "component": "synchroniser_ring"},
            {"family": "K4", "position": "input seal", "component": "seal"},
        ],
        "unit": [{"unit": "U1", "family": "K4"}],
        "job": [
            {
                "job": "J1", "unit": "U1", "kind": "full_rebuild", "opened": D(2020, 1, 1), "torn_down": D(2020, 1, 2),
                "closed": D(2020, 1, 9), "delivered": D(2020, 1, 10), "odometer": 100_000, "warranty_months": 12,
            }
        ],
        "finding": [{"job": "J1", "position": "2nd ring", "grade": 3, "role": "cause", "action": "replaced_failed"}],
    }  # fmt: skip
    for name, rows in more.items():
        records[name] = [*records.get(name, []), *rows] if name != "unit" else rows
    return load_rows(folder, records)


def _observed(folder: Path, as_of: dt.date = AS_OF) -> dict[str, Any]:
    frame = comeback_observations(history(folder, as_of))
    return frame.filter(frame["job"] == "J1").row(0, named=True)


def test_a_silent_unit_is_observed_to_the_end_of_its_warranty(tmp_path: Path) -> None:
    assert _observed(_workshop(tmp_path))["end_observed"] == D(2021, 1, 10)


def test_a_silent_unit_is_observed_to_the_day_asked_where_the_warranty_still_runs(tmp_path: Path) -> None:
    assert _observed(_workshop(tmp_path), D(2020, 6, 1))["end_observed"] == D(2020, 6, 1)


def test_a_registered_unit_is_observed_on_within_the_window(tmp_path: Path) -> None:
    folder = _workshop(tmp_path, unit=[{"unit": "U1", "family": "K4", "register_entry": D(2019, 1, 1)}])
    assert _observed(folder, D(2021, 6, 1))["end_observed"] == D(2021, 6, 1)
    assert _observed(folder)["end_observed"] == D(2022, 1, 10)  # 731 days


def test_a_routine_sighting_extends_observation_and_a_comeback_sighting_does_not(tmp_path: Path) -> None:
    seen = [
        {"unit": "U1", "seen": D(2021, 5, 1), "state": "running", "source": "routine"},
        {"unit": "U1", "seen": D(2021, 9, 1), "state": "running", "source": "comeback"},
    ]
    assert _observed(_workshop(tmp_path, sighting=seen))["end_observed"] == D(2021, 5, 1)


def test_retirement_ends_observation(tmp_path: Path) -> None:
    seen = [{"unit": "U1", "seen": D(2020, 7, 1), "state": "retired", "source": "register"}]
    assert _observed(_workshop(tmp_path, sighting=seen))["end_observed"] == D(2020, 7, 1)


def test_an_unrelated_full_rebuild_ends_observation(tmp_path: Path) -> None:
    later = {"job": "J2", "unit": "U1", "kind": "full_rebuild", "opened": D(2020, 8, 1), "torn_down": D(2020, 8, 2)}
    folder = _workshop(tmp_path, job=[later], finding=[{"job": "J2", "position": "input seal", "grade": 4}])
    told = _observed(folder)
    assert told["end_observed"] == D(2020, 8, 1)
    assert told["reported"] is None


def test_the_same_component_failing_again_is_an_inferred_comeback(tmp_path: Path) -> None:
    later = {"job": "J2", "unit": "U1", "kind": "full_rebuild", "opened": D(2020, 8, 1), "torn_down": D(2020, 8, 5)}
    folder = _workshop(tmp_path, job=[later], finding=[{"job": "J2", "position": "2nd ring", "grade": 4}])
    told = _observed(folder)
    assert (told["reported"], told["first_given"]) == (D(2020, 8, 1), False)
    # Before the teardown nobody knew which component it was.
    assert _observed(folder, D(2020, 8, 4))["reported"] is None
    assert _observed(folder, D(2020, 8, 5))["reported"] == D(2020, 8, 1)


def test_a_comeback_after_the_end_of_observation_does_not_count(tmp_path: Path) -> None:
    folder = _workshop(tmp_path, comeback=[{"original_job": "J1", "reported": D(2021, 3, 1), "outcome": "our_work"}])
    frame = comeback_observations(history(folder, AS_OF))
    counted, _ = durations(frame, "end_observed")
    followed, _ = durations(frame, "end_all")
    assert counted["came_back"].to_list() == [False]
    assert followed["came_back"].to_list() == [True]


def test_ours_only_counts_our_work(tmp_path: Path) -> None:
    back = [
        {"original_job": "J1", "reported": D(2020, 2, 1), "outcome": "no_fault_found"},
        {"original_job": "J1", "reported": D(2020, 5, 1), "settled": D(2020, 5, 20), "outcome": "our_work"},
    ]
    folder = _workshop(tmp_path, comeback=back)
    told = _observed(folder)
    assert (told["reported"], told["reported_ours"]) == (D(2020, 2, 1), D(2020, 5, 1))
    assert _observed(folder, D(2020, 5, 10))["reported_ours"] is None  # not settled yet


def test_one_job_is_too_few_to_say(tmp_path: Path) -> None:
    answer = shown(_workshop(tmp_path), "comebacks", "--as-of", "2024-01-01")
    assert answer["answer"].startswith("Too few to say (")
    assert all(row["share"] is None for row in answer["rows"])


def test_the_distance_of_a_warranty_ends_it_early_for_a_fast_unit(tmp_path: Path) -> None:
    seen = [  # 10,000 km a month before the job
        {"unit": "U1", "seen": D(2019, 1, 1), "odometer": 0, "state": "running", "source": "routine"},
        {"unit": "U1", "seen": D(2019, 11, 1), "odometer": 100_000, "state": "running", "source": "routine"},
    ]
    folder = _workshop(tmp_path, sighting=seen)
    assert _observed(folder)["end_observed"] == D(2021, 1, 10)
    job = {
        "job": "J3", "unit": "U1", "kind": "reseal", "opened": D(2021, 2, 1), "closed": D(2021, 2, 1),
        "delivered": D(2021, 2, 1), "warranty_months": 12, "warranty_distance": 20_000,
    }  # fmt: skip
    folder = _workshop(tmp_path / "two", sighting=seen, job=[job])
    frame = comeback_observations(history(folder, AS_OF))
    end = frame.filter(frame["job"] == "J3")["end_observed"][0]
    assert D(2021, 3, 1) < end < D(2021, 6, 30)


def test_the_ledger_tells_the_rate_without_inferred_comebacks() -> None:
    start = dt.date(2020, 1, 1)
    days = [30, 60, 90, 400, None, None, None, None, None, None] * 2
    frame = pl.DataFrame(
        {
            "job_id": range(20), "unit_id": range(20), "delivered": [start] * 20,
            "reported": [None if d is None else start + dt.timedelta(d) for d in days],
            "first_given": [True, False, True, True, *[None] * 6] * 2,
            "reported_given": [start + dt.timedelta(d) if d in (30, 90, 400) else None for d in days],
            "end_observed": [start + dt.timedelta(731)] * 20,
        },
        schema_overrides={"first_given": pl.Boolean},
    )  # fmt: skip
    line = given_only(frame)
    assert (line.included, line.left_out) == (6, 2)
    assert line.moves == "30.0 % at 12 months becomes 20.0 %; 40.0 % at 24 months becomes 30.0 %"
    none_inferred = frame.with_columns(first_given=pl.lit(value=True))
    assert given_only(none_inferred).moves is None
    assert given_only(frame.head(10)).moves is None  # too few still observed
