"""Predicting packs from jobs alike."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from analytics.estimators.interval import TooFew
from analytics.first_try_model import Case, FirstTry, PastJobs, place_key, predict

DAY = np.datetime64("2020-01-01")


def past(seed: int, count: int = 120, family: str = "K5", shift: float = -0.05, makes: bool = False) -> PastJobs:
    """Return jobs whose new bearings need the pack changed by `shift` with a scatter of 0.02 mm."""
    random = np.random.default_rng(seed)
    found_pack = random.normal(1.0, 0.1, count)
    new = random.random(count) < 0.6
    make = np.where(random.random(count) < 0.4, "Cedar", "Alder")
    effect = np.where(new & (make == "Cedar") & makes, 0.06, 0.0)
    change = np.where(new, shift, 0.0) + effect + random.normal(0, np.where(new, 0.02, 0.01))
    return PastJobs(
        np.array([f"J{n:03d}" for n in range(count)]), np.full(count, place_key(family, "end")),
        DAY + np.arange(count).astype("timedelta64[D]"), found_pack + change, found_pack, change, np.zeros(count),
        make, np.full(count, "Alder"), np.where(new, "new", "used"), np.full(count, "not known"),
        np.zeros(count, dtype=bool),
    )  # fmt: skip


CASE = Case(
    "K5", "end", 1, 0.0, -0.04, 0.04, "not known", "new", "Alder", found=1.20, found_pack=1.20, found_make="Alder"
)


def answer(jobs: PastJobs, case: Case = CASE) -> FirstTry:
    found = predict(jobs, case)
    assert isinstance(found, FirstTry)
    return found


def test_the_pack_found_and_what_jobs_alike_changed() -> None:
    found = answer(past(1))
    assert found.estimate == pytest.approx(1.15, abs=0.01)
    assert found.lower < found.estimate < found.upper
    assert found.upper - found.lower == pytest.approx(2 * 1.645 * 0.02, rel=0.2)
    assert found.uses_found
    assert "bearing new" in found.alike
    used = answer(past(1), replace(CASE, bearing="used"))
    assert used.estimate == pytest.approx(1.20, abs=0.006)
    assert used.upper - used.lower < found.upper - found.lower


def test_a_location_of_the_other_sign_mirrors_the_change() -> None:
    jobs = past(1)
    jobs = replace(jobs, found=-jobs.found, needs=jobs.change - jobs.found)
    assert answer(jobs, replace(CASE, sign=-1, found=-1.20)).estimate == pytest.approx(1.25, abs=0.01)


def test_a_make_that_stands_differently_counts() -> None:
    jobs = past(2, makes=True)
    other = answer(jobs, replace(CASE, make="Cedar"))
    assert other.estimate - answer(jobs).estimate == pytest.approx(0.06, abs=0.015)
    assert other.make_shift == pytest.approx(0.06, abs=0.02)


def test_a_pack_found_far_off_is_left_aside() -> None:
    strange = answer(past(1), replace(CASE, found=3.0, found_pack=3.0))
    assert not strange.uses_found
    assert strange.estimate == pytest.approx(0.95, abs=0.06)


def test_without_a_pack_found_the_family_speaks_more_widely() -> None:
    bare = answer(past(1), replace(CASE, found=None, found_pack=None))
    assert not bare.uses_found
    assert bare.upper - bare.lower > 0.25


def test_a_young_family_learns_from_the_others() -> None:
    others, few = past(3), past(4, 6, family="K9")
    joined = PastJobs(*(np.concatenate([getattr(others, name), getattr(few, name)]) for name in vars(others)))
    found = answer(joined, replace(CASE, family="K9"))
    assert found.alike.endswith("all families")
    assert found.estimate == pytest.approx(1.15, abs=0.03)


def test_few_jobs_alike_still_go_by_the_pack_found() -> None:
    """Eleven jobs, none of them under another gear set: what all of them changed, new and used bearings apart."""
    random = np.random.default_rng(6)
    few = past(5, 11)
    few = replace(few, bearing=np.array(["new"] * 7 + ["used"] * 4), gear_set=np.full(11, "kept"))
    change = np.array([-0.05] * 7 + [0.0] * 4) + random.normal(0, 0.005, 11)
    few = replace(few, change=change, needs=few.found + change)
    case = replace(CASE, bearing="used", gear_set="changed")
    used, new = answer(few, case), answer(few, replace(case, bearing="new"))
    assert used.uses_found
    assert "whatever the gear set" in used.alike or "whatever the bearing" in used.alike
    assert used.estimate == pytest.approx(1.20, abs=0.02)
    assert new.estimate == pytest.approx(1.15, abs=0.02)


def test_too_few_jobs_are_said() -> None:
    told = predict(past(1, 3), replace(CASE, found=None, found_pack=None))
    assert isinstance(told, TooFew)
    assert str(told) == "too few to say (3 of 5 jobs of K5 with this location set)"


def test_only_what_was_known_before_the_day_counts() -> None:
    assert past(1).before(dt.date(2020, 1, 11)).job.size == 10


def test_row_order_does_not_matter() -> None:
    jobs = past(5)
    order = np.random.default_rng(1).permutation(jobs.job.size)
    assert predict(jobs.take(order), CASE) == predict(jobs, CASE)


def test_intervals_hold_what_they_say() -> None:
    inside = []
    for seed in range(150):
        jobs = past(seed, 61)
        last = jobs.take(np.array([60]))
        case = replace(
            CASE, bearing=str(last.bearing[0]), make=str(last.make[0]), found=float(last.found[0]),
            found_pack=float(last.found[0]),
        )  # fmt: skip
        found = answer(jobs.take(slice(60)), case)
        inside.append(found.lower <= float(last.needs[0]) <= found.upper)
    assert 0.83 <= np.mean(inside) <= 0.96  # 90 %: binomial error of 150 is 2.4 %
