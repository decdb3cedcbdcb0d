"""Assemblies of a job, the worst half-year and what a replay tells, counted by hand."""

from __future__ import annotations

import datetime as dt

import pytest

from analytics.first_try_backtest import Replay, ReplayedJob, assemblies, trials_a_job


def job(
    name: str, day: dt.date, ours: bool, done: bool, quantity: str = "pinion_depth", trials: int = 1, recorded: int = 1
) -> ReplayedJob:
    """Return one replayed job; as found again and the family's average go as what was done."""
    within = {"ours": ours, "technicians": done, "as_found": done, "average": done}
    error = {"ours": 0.01, "technicians": 0.03, "as_found": 0.05, "average": 0.2}
    return ReplayedJob(name, quantity, day, ours, 0.08, within, error, trials, recorded)


@pytest.mark.parametrize(
    ("trials", "count"),
    [
        ([("pinion_depth", 1), ("preload_torque", 1), ("backlash", 1)], 1),
        ([("pinion_depth", 2), ("preload_torque", 1), ("backlash", 3)], 4),  # one correction of depth, two of backlash
        ([("end_float", 2), ("end_float", 3)], 3),  # two floats of one box are read together
        ([("pinion_depth", 2)], 2),
    ],
)
def test_assemblies_are_one_and_every_correction(trials: list[tuple[str, int]], count: int) -> None:
    assert assemblies(trials) == count


def test_the_worst_half_year_needs_five_jobs() -> None:
    spring = [job(f"A{n}", dt.date(2024, 3, 1), n < 3, n < 4) for n in range(5)]  # 3 of 5
    autumn = [job(f"B{n}", dt.date(2024, 9, 1), n < 8, n < 2) for n in range(10)]  # 8 of 10
    few = [job(f"C{n}", dt.date(2025, 1, 1), False, False) for n in range(4)]  # none, but four only
    worst = Replay((*spring, *autumn, *few)).worst_half_year()
    assert worst is not None
    assert (worst.name, worst.ours, worst.technicians, worst.jobs) == ("first half of 2024", 0.6, 0.8, 5)
    assert Replay(tuple(few)).worst_half_year() is None


def test_ways_are_judged_on_the_same_jobs() -> None:
    without_found = ReplayedJob("X", "pinion_depth", dt.date(2024, 3, 1), False, 0.2, {}, {}, 2, 1)
    told = Replay(
        (job("A", dt.date(2024, 1, 1), True, False), job("B", dt.date(2024, 2, 1), True, True), without_found)
    )
    assert (told.jobs, told.right("ours"), told.right("technicians"), told.inside) == (2, 2, 1, 2)
    assert told.error("ours") == pytest.approx(0.01)
    assert told.error("as_found") == pytest.approx(0.05)
    assert told.width == pytest.approx((0.08 + 0.08 + 0.2) / 3)


def test_trials_a_job_count_from_the_day_every_place_is_replayed() -> None:
    early, late = dt.date(2023, 1, 1), dt.date(2024, 1, 1)
    depth = Replay((job("old", early, True, True, recorded=5), job("A", late, True, False, trials=1, recorded=2)))
    ring = Replay((job("A", late, True, False, "backlash", trials=2, recorded=3),))
    assert trials_a_job([depth, ring]) == (2.0, 4.0, 1)  # ours 1 + 0 + 1, done 1 + 1 + 2; "old" came before the ring's
    assert trials_a_job([Replay(())]) is None
