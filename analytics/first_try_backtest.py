"""Replay past jobs: what the prediction would have said on the day, and what the reading would then have been."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from analytics.estimators.interval import TooFew
from analytics.first_try_model import NOT_KNOWN, Case, FirstTry, PastJobs, past_jobs, place_key, predict
from analytics.shelf import nearest_reachable

REPLAYED = 80  # the newest jobs of a place that are replayed beside each answer
FEWEST_IN_HALF_YEAR = 5  # replayed jobs that it takes to speak of a half-year
MOST_TRIALS = 8
WAYS = ("ours", "technicians", "as_found", "average")


@dataclass(frozen=True)
class ReplayedJob:
    """Hold one past job of one place, replayed from what was known before its teardown; lengths in mm of pack.

    Counterfactual: the first trial's recorded reading plus the response times the difference of pack. `inside` says
    whether the pack needed lay inside the interval. By way (`technicians`: the first pack on record, `as_found`: the pack
    found, `average`: the family's mean pack so far): `within` limits at first try, and `error`, how far the pack was from
    the one needed; both empty where no pack found is on record, so that every way is judged on the same jobs.
    `trials` counts ours, `recorded` those on record.
    """

    job: str
    quantity: str
    torn_down: dt.date
    inside: bool
    width: float
    within: dict[str, bool]
    error: dict[str, float]
    trials: int
    recorded: int


@dataclass(frozen=True)
class HalfYear:
    """Hold how often the first try would have been, and was, within limits in one half-year."""

    name: str
    ours: float
    technicians: float
    jobs: int


@dataclass(frozen=True)
class Replay:
    """Hold the replayed jobs of one place and how they went, over the same jobs for every way."""

    every: tuple[ReplayedJob, ...]

    @property
    def jobs(self) -> int:
        """Return the number of jobs on which every way can be judged."""
        return len(self._judged)

    @property
    def inside(self) -> int:
        """Return how many packs needed lay inside their interval."""
        return sum(job.inside for job in self.every)

    @property
    def width(self) -> float:
        """Return the mean width of the intervals in mm."""
        return float(np.mean([job.width for job in self.every]))

    def right(self, way: str) -> int:
        """Return how often the first try of a way lies within limits."""
        return sum(job.within[way] for job in self._judged)

    def error(self, way: str) -> float:
        """Return the mean distance (mm) of a way's first pack from the pack needed."""
        return float(np.mean([job.error[way] for job in self._judged]))

    def worst_half_year(self) -> HalfYear | None:
        """Return the half-year in which ours was least often right, None where none has five replayed jobs."""
        halves: dict[str, list[ReplayedJob]] = {}
        for job in self._judged:
            name = f"{'first' if job.torn_down.month <= 6 else 'second'} half of {job.torn_down.year}"
            halves.setdefault(name, []).append(job)
        told = [
            HalfYear(name, _share(jobs, "ours"), _share(jobs, "technicians"), len(jobs))
            for name, jobs in halves.items()
            if len(jobs) >= FEWEST_IN_HALF_YEAR
        ]
        return min(told, key=lambda half: half.ours, default=None)

    @property
    def _judged(self) -> list[ReplayedJob]:
        return [job for job in self.every if job.within]


def _share(jobs: Sequence[ReplayedJob], way: str) -> float:
    return sum(job.within[way] for job in jobs) / len(jobs)


def assemblies(trials: Iterable[tuple[str, int]]) -> int:
    """Return how often a unit was put together to be read: one, and one more for each time it came apart again.

    `trials` gives quantity and number of trials of each place of one job. Depth, preload and backlash are set one after
    the other, because each rests on the one before: every correction of any of them is another strip, reshim, assemble,
    measure. Places of one quantity (two end floats) are read on the same assembly.
    """
    most: dict[str, int] = {}
    for quantity, count in trials:
        most[quantity] = max(most.get(quantity, 1), count)
    return 1 + sum(count - 1 for count in most.values())


def trials_a_job(replays: Sequence[Replay]) -> tuple[float, float, int] | None:
    """Return assemblies a job by ours and on record, and the number of jobs; None where there is none.

    `replays` of the places of one family. Jobs count from the day on from which every place is replayed.
    """
    told = [replay for replay in replays if replay.every]
    if not told:
        return None
    first = max(min(job.torn_down for job in replay.every) for replay in told)
    by_job: dict[str, list[ReplayedJob]] = {}
    for replay in told:
        for job in replay.every:
            if job.torn_down >= first and job.within:
                by_job.setdefault(job.job, []).append(job)
    if not by_job:
        return None
    ours = [assemblies((place.quantity, place.trials) for place in places) for places in by_job.values()]
    done = [assemblies((place.quantity, place.recorded) for place in places) for places in by_job.values()]
    return float(np.mean(ours)), float(np.mean(done)), len(by_job)


def case_of_row(row: dict[str, Any], reading_error: float) -> Case:
    """Return the case that a past job was on the day of its teardown (`set_rows` row; lengths turned into mm)."""
    sign, dimension = row["sign"], row["found_dimension"]
    return Case(
        family=row["family"], place=row["place"], sign=sign, aim=row["aim"] / 1000,
        low=None if row["aim_low"] is None else (row["aim_low"] - row["aim"]) / 1000,
        high=None if row["aim_high"] is None else (row["aim_high"] - row["aim"]) / 1000,
        gear_set=row["gear_set"], bearing=row["bearing"] or NOT_KNOWN, make=row["make"] or NOT_KNOWN,
        case_replaced=row["case_replaced"], found=None if dimension is None else -sign * dimension / 1000,
        found_pack=None if row["found_pack"] is None else row["found_pack"] / 1000,
        found_make=row["found_make"] or NOT_KNOWN, reading_error=reading_error / row["rise"] / 1000,
        moves_with_gear_set=row["coordinate"] == "shift",
    )  # fmt: skip


def replayed_jobs(rows: pl.DataFrame, place: str, family: str) -> pl.DataFrame:
    """Return the past jobs of one place that can be replayed: first trial and its limits on record."""
    return rows.filter(
        (pl.col("family") == family) & (pl.col("place") == place)
        & pl.all_horizontal(pl.col("first_pack", "first_needs", "dimension", "aim", "rise", "trials").is_not_null())
        & (pl.col("aim_low").is_not_null() | pl.col("aim_high").is_not_null())
    )  # fmt: skip


def replay(
    rows: pl.DataFrame, jobs: pl.DataFrame, reading_error: float, totals: tuple[int, ...], grid: int | None,
    level: float = 0.90,
) -> Replay:  # fmt: skip
    """Replay `jobs` one by one, each from what was known before its teardown.

    `rows` are all past rows of the quantity. `totals` are the packs (um) that pieces can make; for a pair of side
    packs, which moves in steps from where it stands, give none and `grid` (um).
    """
    past = past_jobs(rows)
    told = []
    for row in jobs.iter_rows(named=True):
        before = past.before(row["torn_down"])
        case = case_of_row(row, reading_error)
        found = predict(before, case, level)
        if not isinstance(found, TooFew):
            told.append(_replayed(row, found, case, before, _maker(row, totals, grid)))
    return Replay(tuple(told))


def _replayed(
    row: dict[str, Any], found: FirstTry, case: Case, past: PastJobs, made: Callable[[float], float]
) -> ReplayedJob:
    needed = (row["aim"] - row["dimension"]) / 1000
    packs = {} if row["found_pack"] is None else _packs(row, found, case, past, made)
    return ReplayedJob(
        row["job"], row["quantity"], row["torn_down"], found.lower <= needed <= found.upper, found.upper - found.lower,
        {way: _within(pack, row) for way, pack in packs.items()},
        {way: abs(pack / 1000 - needed) for way, pack in packs.items()},
        _trials(row, found, case, made), int(row["trials"]),
    )  # fmt: skip


def _maker(row: dict[str, Any], totals: tuple[int, ...], grid: int | None) -> Callable[[float], float]:
    """Return what turns a wanted pack (mm) into the nearest that can be made (um)."""

    def made(pack: float) -> float:
        wanted = 1000 * pack
        if grid is not None:
            return float(row["first_pack"] + round((wanted - row["first_pack"]) / grid) * grid)
        near = nearest_reachable(wanted, totals)
        return float(wanted if near is None else near)

    return made


def _packs(
    row: dict[str, Any], found: FirstTry, case: Case, past: PastJobs, made: Callable[[float], float]
) -> dict[str, float]:
    own = past.family == place_key(row["family"], row["place"])
    mean = case.sign * float(past.needs[own].mean()) + case.aim if own.any() else found.estimate
    return {
        "ours": made(found.estimate), "technicians": row["first_pack"], "as_found": row["found_pack"],
        "average": made(mean),
    }  # fmt: skip


def _trials(row: dict[str, Any], found: FirstTry, case: Case, made: Callable[[float], float]) -> int:
    """Return the trials it would have taken: after each, the past and the readings so far are weighed by variance."""
    needs, weights = [1000 * found.estimate], [found.deviation**-2]
    pack = made(found.estimate)
    for trial in range(1, MOST_TRIALS):
        if _within(pack, row):
            return trial
        if case.reading_error > 0:
            needs.append(row["first_needs"])
            weights.append(case.reading_error**-2)
        else:  # a reading without error says all
            needs, weights = [row["first_needs"]], [1.0]
        following = made(float(np.average(needs, weights=weights)) / 1000)
        if following == pack:  # the reading alone then speaks
            following = made(row["first_needs"] / 1000)
        pack = following
    return MOST_TRIALS


def _within(pack: float, row: dict[str, Any]) -> bool:
    """Return whether the first trial, read with another pack, would have been within limits."""
    off = pack - row["first_needs"]
    low = row["aim_low"] is None or off >= row["aim_low"] - row["aim"] - 1e-6
    high = row["aim_high"] is None or off <= row["aim_high"] - row["aim"] + 1e-6
    return low and high
