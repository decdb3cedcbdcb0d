"""Answers are asked once for each version, day, scope and choice of options, and kept."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import polars as pl
import pytest

from analytics.answer import Answer
from analytics.history import History
from analytics.question import Question, QuestionError
from dashboards.address import read_view
from dashboards.asking import Asking
from dashboards.open_records import OpenRecords
from dashboards.page import Section
from tests.answers_by_hand import questions_by_hand

SECTION = Section("failure-rates", "What do we find failed?")


class Counted:
    """Count how often a question is asked, and with what."""

    def __init__(self, question: Question) -> None:
        self.asked: list[tuple[dt.date, dict[str, str], dict[str, str]]] = []
        self.question = replace(question, ask=self._ask)
        self._answer = question.ask

    def _ask(self, history: History, options: Mapping[str, str]) -> Answer:
        self.asked.append((history.as_of, history.scope.filters(), dict(options)))
        return self._answer(history, options)


@pytest.fixture
def counted() -> Counted:
    return Counted(questions_by_hand()["failure-rates"])


@pytest.fixture
def asking(one_job_folder: Path, counted: Counted) -> Asking:
    return Asking(OpenRecords(one_job_folder), {"failure-rates": counted.question})


def test_the_same_view_is_asked_once(asking: Asking, counted: Counted) -> None:
    first = asking.answer(SECTION, read_view("?family=K40"))
    assert asking.answer(SECTION, read_view("?family=K40")) is first
    # No day is named: the last day on record.
    assert counted.asked == [(dt.date(2024, 9, 9), {"family": "K40"}, {"by": "none"})]


def test_another_day_scope_or_option_is_another_answer(asking: Asking, counted: Counted) -> None:
    for search in ("", "?as_of=2024-06-01", "?family=K40", "?failure-rates.by=supplier", "?since=2024-01-01"):
        asking.answer(SECTION, read_view(search))
    assert len(counted.asked) == 5


def test_what_a_section_sets_holds_until_the_address_says_otherwise(asking: Asking, counted: Counted) -> None:
    section = replace(SECTION, options={"by": "technician"})
    asking.answer(section, read_view(""))
    asking.answer(section, read_view("?failure-rates.by=supplier"))
    assert [options["by"] for _, _, options in counted.asked] == ["technician", "supplier"]


def test_the_jobs_behind_a_row_are_asked_with_the_row_and_the_options(asking: Asking) -> None:
    key = asking.answer(SECTION, read_view("")).keys[2]
    row, jobs = asking.jobs_behind(SECTION, read_view(""), key)
    assert row["position"] == "2nd synchroniser ring"
    assert jobs["job"].to_list() == ["J/24-17", "J/24-61"]


def test_a_row_that_is_not_there_is_refused(asking: Asking) -> None:
    key = asking.answer(SECTION, read_view("")).keys[2]
    for view, gone in (("", "nonsense"), ("", ""), ("?family=K40", key)):
        with pytest.raises(QuestionError, match="the records changed since this page was shown"):
            asking.jobs_behind(SECTION, read_view(view), gone)


def test_a_row_is_found_by_its_key_wherever_it_stands_by_now(one_job_folder: Path, counted: Counted) -> None:
    def turned(history: History, options: Mapping[str, str]) -> Answer:
        before = counted.question.ask(history, options)
        return replace(before, rows=before.rows.reverse().with_columns(pl.col("failed") + 1))

    before = Asking(OpenRecords(one_job_folder), {"failure-rates": counted.question})
    after = Asking(OpenRecords(one_job_folder), {"failure-rates": replace(counted.question, ask=turned)})
    for key in before.answer(SECTION, read_view("")).keys:
        was, _ = before.jobs_behind(SECTION, read_view(""), key)
        now, _ = after.jobs_behind(SECTION, read_view(""), key)
        assert (now["family"], now["position"], now["failed"]) == (was["family"], was["position"], was["failed"] + 1)


def test_a_question_without_single_jobs_says_so(one_job_folder: Path, counted: Counted) -> None:
    alone = {"failure-rates": replace(counted.question, jobs_behind=None)}
    with pytest.raises(QuestionError, match="does not rest on single jobs"):
        Asking(OpenRecords(one_job_folder), alone).jobs_behind(SECTION, read_view(""), "any")


def test_a_scope_that_is_not_on_record_never_reaches_the_question(asking: Asking, counted: Counted) -> None:
    with pytest.raises(QuestionError, match="there is no fleet 'Nobody' on record"):
        asking.answer(SECTION, read_view("?fleet=Nobody"))
    assert counted.asked == []


def test_kept_answers_are_bounded(one_job_folder: Path, counted: Counted) -> None:
    asking = Asking(OpenRecords(one_job_folder), {"failure-rates": counted.question}, kept=4)
    for day in range(1, 29):
        asking.answer(SECTION, read_view(f"?as_of=2024-06-{day:02d}"))
    assert len(asking._kept) <= 4
