"""A section shows the answer, its grounds, and the jobs behind a row."""

from __future__ import annotations

import datetime as dt
import html
import re
from pathlib import Path
from typing import Any

import polars as pl
from dash.development.base_component import Component

from analytics.answer import Answer, Assumption, Column
from analytics.job_list import MOST_JOBS
from analytics.question import Option, Question
from dashboards.address import read_view
from dashboards.asking import Asking
from dashboards.decision_page import decision_page
from dashboards.open_records import OpenRecords
from dashboards.page import Page, Section
from dashboards.section_view import (
    FIRST_JOBS,
    jobs_behind,
    refused,
    row_name,
    shown_answer,
)

SECTION = Section("lives", "How long do bearings last?", narrow=("position",))
PAGE = Page("/bench", "Bench", "", (SECTION,))
ANSWER = Answer(
    question="lives",
    as_of=dt.date(2024, 3, 31),
    warehouse_version=7,
    filters={"family": "T5 compact"},
    sentence="Half of the bearings last 250,000 km.",
    method="Kaplan-Meier.",
    grain="one row per position and year",
    rows=pl.DataFrame(
        {
            "position": ["input bearing"], "ours": [False], "year": [2023], "life": [250.5], "low": [200.0],
            "high": [None],
        },
        schema_overrides={"high": pl.Float64},
    ),
    columns=(
        Column("position", "Position"), Column("ours", "Ours only"), Column("year", "Year", unit="year"),
        Column("life", "Median life", "half last longer", "km"), Column("low", "from", "lower limit", "km"),
        Column("high", "to", "upper limit", "km"),
    ),
    number="250,000 km",
    number_about="median life",
    notes=("Without a register this speaks of units that came in.",),
    assumptions=(Assumption("Sound parts are censored", 40, 3, "sound parts left out", "250 becomes 180"),),
)  # fmt: skip
QUESTION = Question("lives", "", "", lambda history, options: ANSWER, (), lambda history, row: pl.DataFrame())


def words(parts: Any) -> str:
    """Return the words of components, as a reader meets them."""
    if isinstance(parts, Component):
        return words(getattr(parts, "children", None))
    if isinstance(parts, list | tuple):
        return " ".join(filter(None, map(words, parts)))
    return "" if parts is None else str(parts)


def body(answer: Answer = ANSWER) -> str:
    shown = shown_answer(SECTION, QUESTION, answer, (), {"by": "position"})
    return " ".join(html.unescape(re.sub("<[^>]+>", " ", shown.words + shown.rest)).split())


def test_number_and_sentence_come_first_and_the_grounds_last() -> None:
    text = body()
    order = [
        "250,000 km",
        "median life",
        "Half of the bearings",
        "1 row; one row per position",
        "How this was worked out",
    ]
    places = [text.index(part) for part in order]
    assert places == sorted(places)


def test_the_grounds_hold_method_notes_ledger_and_the_way_to_ask_again() -> None:
    text = body()
    for part in (
        "Kaplan-Meier.",
        "Without a register",
        "Sound parts are censored 40 3 sound parts left out 250 becomes 180",
        "As known on 31 Mar 2024, version 7",
        "layshaft show lives --as-of 2024-03-31 --family 'T5 compact' --by position",
    ):
        assert part in text


def test_what_a_column_means_is_told_but_not_for_its_limits() -> None:
    text = body()
    assert "half last longer" in text
    assert "lower limit" not in text


def test_an_answer_without_rows_has_no_table() -> None:
    none = Answer(**{**ANSWER.__dict__, "rows": ANSWER.rows.clear(), "sentence": "Too few to say (2 of 10)."})
    text = body(none)
    assert "Too few to say (2 of 10)." in text
    assert "Choose a mark" not in text


def test_a_refusal_is_one_sentence() -> None:
    assert words(refused("there is no family 'X'")) == "There is no family 'X'."
    assert words(refused("there is no family 'X'; did you mean 'Y'?")) == "There is no family 'X'; did you mean 'Y'?"


def test_a_row_is_named_by_what_stands_before_its_estimate() -> None:
    assert row_name(ANSWER, ANSWER.rows.row(0, named=True)) == "input bearing, ours only no, year 2023"


def jobs(count: int) -> pl.DataFrame:
    days = [dt.date(2020, 1, 1) + dt.timedelta(days=n) for n in range(count)]
    return pl.DataFrame({"job": [f"J{n:04d}" for n in range(count)], "opened": days, "because": ["failed"] * count})


def test_the_row_in_full_and_its_jobs_the_newest_first() -> None:
    text = words(jobs_behind(ANSWER, ANSWER.rows.row(0, named=True), jobs(3), ""))
    assert text.startswith("3 jobs behind: input bearing")
    assert "250.5 (200.0 to no limit)" in text
    assert text.index("J0002") < text.index("J0001") < text.index("J0000")


def test_a_job_of_no_fleet_is_one_of_private_owners_as_on_its_sheet() -> None:
    listed = jobs(2).with_columns(fleet=pl.Series([None, "Harbour Vans"], dtype=pl.String))
    text = words(jobs_behind(ANSWER, ANSWER.rows.row(0, named=True), listed, ""))
    assert text.count("private owners") == 1
    assert text.count("Harbour Vans") == 1


def test_older_jobs_unfold() -> None:
    parts = jobs_behind(ANSWER, ANSWER.rows.row(0, named=True), jobs(FIRST_JOBS + 20), "")
    assert "Show the 20 older jobs too" in words(parts[-1])
    assert words(parts).count("failed") == FIRST_JOBS + 20


def test_a_list_that_was_cut_says_that_it_holds_the_newest() -> None:
    text = words(jobs_behind(ANSWER, ANSWER.rows.row(0, named=True), jobs(MOST_JOBS), ""))
    assert text.startswith(f"The newest {MOST_JOBS} jobs behind")


def test_no_jobs_is_said_too() -> None:
    assert words(jobs_behind(ANSWER, ANSWER.rows.row(0, named=True), jobs(0), "")).startswith("0 jobs behind")


def _other_case(folder: Path, search: str) -> bool:
    """Return whether the folded controls of a section with five options stand open in this view."""
    options = (*(Option(name, name, ("x", "y"), "x") for name in "abcd"), Option("e", "anything"))
    page = Page("/bench", "Bench", "", (Section("lives", "How long?", options={"b": "y"}),))
    asked = {"lives": Question("lives", "", "", lambda history, chosen: ANSWER, options)}
    told = decision_page(page, read_view(search), search, Asking(OpenRecords(folder), asked))
    [fold] = re.findall(r'<details class="other-case no-print"( open)?>', told.sections["lives"].frame)
    return bool(fold)


def test_many_controls_are_folded_until_something_unusual_is_chosen(one_job_folder: Path) -> None:
    assert not _other_case(one_job_folder, "")
    assert _other_case(one_job_folder, "?lives.b=x")
    assert _other_case(one_job_folder, "?lives.e=7")
