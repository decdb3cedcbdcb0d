"""Tell how first tries of past jobs would have gone, beside what is predicted for the next one."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import polars as pl

from analytics.answer import Assumption, Column
from analytics.first_try_backtest import REPLAYED, Replay, replay, replayed_jobs, trials_a_job
from analytics.first_try_places import PlaceAnswer
from analytics.setting_history import SettingHistory
from analytics.shelf import reachable_packs, shelf_of
from analytics.wording import percent

SCHEMA = {
    "replayed": pl.Int64, "first_ours": pl.Float64, "first_done": pl.Float64, "first_as_found": pl.Float64,
    "first_average": pl.Float64, "covered": pl.Float64, "width_um": pl.Float64, "error_um": pl.Float64,
    "error_as_found_um": pl.Float64, "worst_ours": pl.Float64, "worst_half_year": pl.String,
}  # fmt: skip
COLUMNS = (
    Column("first_ours", "First try right", "of the replayed jobs, with the pack this would have said", "share"),
    Column("first_done", "As was done", "of the same jobs, with the pack the technicians tried first", "share"),
    Column("first_as_found", "As found again", "of the same jobs", "share"),
    Column("first_average", "Family average", "of the same jobs", "share"),
    Column("worst_ours", "Worst half-year", "first try right in the half-year in which it was least often", "share"),
    Column("worst_half_year", "Which one", "of half-years with five or more replayed jobs"),
    Column("covered", "Interval held", "share of replayed packs needed inside their 90 % interval", "share"),
    Column("width_um", "Interval width", "mean over the replayed jobs", "um"),
    Column("error_um", "Off by", "mean distance of the pack from the one needed", "um"),
    Column("error_as_found_um", "As found off by", "the same, had the pack found gone in again", "um"),
    Column("replayed", "Replayed jobs"),
)


def replay_of(setting: SettingHistory, answer: PlaceAnswer, level: float) -> Replay:
    """Replay the newest jobs of an answer's place; a pair of side packs moves in its steps."""
    place = answer.place
    rows = setting.packs_needed.filter(
        (pl.col("quantity") == place["quantity"]) & (pl.col("coordinate") == place["coordinate"])
        & pl.col("rise").is_not_null()
    )  # fmt: skip
    jobs = replayed_jobs(rows, place["place"], place["family"]).tail(REPLAYED)
    points = 4 if place["quantity"] == "backlash" else 1
    error = setting.reading_error(place["quantity"], points)
    if place["coordinate"] == "shift":
        return replay(rows, jobs, error, (), place["step_um"] or 50, level)
    sizes = shelf_of(setting.shelf, place["family"], place["location"]).sizes
    limits = (place["thinnest_um"] or 1, place["thickest_um"] or 60_000)
    return replay(rows, jobs, error, reachable_packs(sizes, place["stackable"], *limits), None, level)


def replay_row(told: Replay) -> dict[str, Any]:
    """Return the columns of `SCHEMA` for one place."""
    row: dict[str, Any] = {"replayed": told.jobs}
    if told.jobs:
        names = {"ours": "first_ours", "technicians": "first_done", "as_found": "first_as_found"}
        row |= {column: told.right(way) / told.jobs for way, column in (names | {"average": "first_average"}).items()}
        row |= {"error_um": 1000 * told.error("ours"), "error_as_found_um": 1000 * told.error("as_found")}
    if told.every:
        row |= {"covered": told.inside / len(told.every), "width_um": 1000 * told.width}
    worst = told.worst_half_year()
    if worst is not None:
        row |= {"worst_ours": worst.ours, "worst_half_year": worst.name}
    return row


def replay_notes(replays: Mapping[str, Replay]) -> list[str]:
    """Say how many assemblies a job took and would have taken, and the worst half-year of each place."""
    notes = []
    a_job = trials_a_job(list(replays.values()))
    if a_job is not None:
        ours, done, jobs = a_job
        notes.append(
            f"Over the newest {jobs} jobs the unit was put together {done:.2f} times a job to be read; with these first "
            f"packs and the next ones after each trial, {ours:.2f} times (1 is the least there can be)."
        )
    for place, told in replays.items():
        worst = told.worst_half_year()
        if worst is not None:
            notes.append(
                f"{place[:1].upper() + place[1:]}, worst half-year ({worst.name}, {worst.jobs} jobs): first try right "
                f"{percent(worst.ours, 0)}, as was done {percent(worst.technicians, 0)}."
            )
    return notes


def replay_ledger(table: pl.DataFrame) -> list[Assumption]:
    """Return one line for each location: who was replayed, and how the other ways of choosing a first pack did."""
    rows = table.filter(pl.col("first_ours").is_not_null()).unique(
        ["quantity", "alike"], keep="first", maintain_order=True
    )
    return [
        Assumption(
            f"{row['location']}: newest jobs with a pack found, replayed from what was known before each; recorded "
            "reading plus response times difference of pack",
            row["replayed"],
            None,
            "what was done, as found again, the family's average",
            f"within limits at first try {percent(row['first_ours'], 0)}; done {percent(row['first_done'], 0)}, as "
            f"found {percent(row['first_as_found'], 0)}, average {percent(row['first_average'], 0)}; interval held "
            f"{percent(row['covered'], 0)}",
        )
        for row in rows.iter_rows(named=True)
    ]
