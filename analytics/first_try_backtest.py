"""Replay past jobs: what the prediction would have said on the day, and what the reading would then have been."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import polars as pl

from analytics.estimators.interval import TooFew
from analytics.first_try_model import NOT_KNOWN, Case, FirstTry, PastJobs, past_jobs, place_key, predict
from analytics.shelf import nearest_reachable

REPLAYED = 20  # the newest jobs of a place that are replayed beside each answer


@dataclass(frozen=True)
class Replay:
    """Hold how often the first try would have been within limits, over the same jobs, and how honest the interval is.

    Counterfactual: the first trial's recorded reading plus the response times the difference of pack. `technicians` is
    what was done; `as_found` the pack found, `average` the family's mean pack so far. `inside` counts packs needed
    inside their interval.
    """

    jobs: int
    ours: int
    technicians: int
    as_found: int
    average: int
    inside: int
    predicted: int


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
        & pl.all_horizontal(pl.col("first_pack", "first_needs", "dimension", "aim", "rise").is_not_null())
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
    counts = dict.fromkeys(("ours", "technicians", "as_found", "average", "inside", "predicted", "jobs"), 0)
    for row in jobs.iter_rows(named=True):
        before = past.before(row["torn_down"])
        case = case_of_row(row, reading_error)
        found = predict(before, case, level)
        if isinstance(found, TooFew):
            continue
        counts["predicted"] += 1
        counts["inside"] += found.lower <= (row["aim"] - row["dimension"]) / 1000 <= found.upper
        if row["found_pack"] is None:
            continue
        counts["jobs"] += 1
        for name, pack in _packs(row, found, case, before, totals, grid).items():
            counts[name] += _within(pack, row)
    return Replay(**counts)


def _packs(
    row: dict[str, Any], found: FirstTry, case: Case, past: PastJobs, totals: tuple[int, ...], grid: int | None
) -> dict[str, float]:
    own = past.family == place_key(row["family"], row["place"])
    mean = case.sign * float(past.needs[own].mean()) + case.aim if own.any() else found.estimate

    def made(pack: float) -> float:
        wanted = 1000 * pack
        if grid is not None:
            return float(row["first_pack"] + round((wanted - row["first_pack"]) / grid) * grid)
        near = nearest_reachable(wanted, totals)
        return float(wanted if near is None else near)

    return {
        "ours": made(found.estimate), "technicians": row["first_pack"], "as_found": row["found_pack"],
        "average": made(mean),
    }  # fmt: skip


def _within(pack: float, row: dict[str, Any]) -> bool:
    """Return whether the first trial, read with another pack, would have been within limits."""
    off = pack - row["first_needs"]
    low = row["aim_low"] is None or off >= row["aim_low"] - row["aim"] - 1e-6
    high = row["aim_high"] is None or off <= row["aim_high"] - row["aim"] + 1e-6
    return low and high
