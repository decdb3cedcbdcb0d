"""Ask questions of the published job records on behalf of the pages, and keep the answers."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from typing import Any

import polars as pl

from analytics.bounded_cache import BoundedCache
from analytics.day_asked import day_asked
from analytics.history import History
from analytics.job_sheet import JobSheet, job_sheet
from analytics.question import Question, QuestionError, find_question
from analytics.scope_choices import check_scope, scope_choices
from analytics.warehouse_file import Warehouse
from dashboards.acknowledgements import with_acknowledged
from dashboards.address import View
from dashboards.compiled_chart import compiled
from dashboards.open_records import OpenRecords
from dashboards.page import Section
from dashboards.records_standing import RecordsStanding, records_standing
from dashboards.section_view import shown_answer
from dashboards.shown import Shown

KEPT_ANSWERS = 256
ROW_GONE = "the records changed since this page was shown; the row that was chosen is not in the answer of today"


class Asking:
    """Answer the pages' questions from one folder of job records, keeping a bounded number of answers."""

    def __init__(self, records: OpenRecords, questions: Mapping[str, Question], kept: int = KEPT_ANSWERS) -> None:
        """Ask `questions` of `records`."""
        self.records = records
        self.questions = questions
        self._kept = BoundedCache(kept)

    def answer(self, section: Section, view: View) -> Shown:
        """Return the section's answer in this view.

        Raises QuestionError or WarehouseError in one plain sentence.
        """
        question, options = self._question(section, view)
        with self.records.current() as warehouse:
            history = self._history(warehouse, view)
            key = _answer_key(section, question, history, options)
            shown: Shown = self._kept.get(key, lambda: _shown(section, question, history, options))
        return shown

    def kept(self, section: Section, view: View) -> Shown | None:
        """Return the section's answer in this view where it is kept, without asking; raises as `answer` does."""
        question, options = self._question(section, view)
        with self.records.current() as warehouse:
            history = self._history(warehouse, view)
            shown: Shown | None = self._kept.made(_answer_key(section, question, history, options))
        return shown

    def jobs_behind(self, section: Section, view: View, key: str) -> tuple[Mapping[str, Any], pl.DataFrame]:
        """Return the row of the section's answer that `key` names, and the jobs behind it.

        Raises QuestionError where the answer has no such row any more or the question cannot name its jobs.
        """
        question, options = self._question(section, view)
        shown = self.answer(section, view)
        if question.jobs_behind is None:
            raise QuestionError(f"'{question.name}' does not rest on single jobs")
        row = shown.row_of(key)
        if row is None:
            raise QuestionError(ROW_GONE)
        chosen = shown.answer.rows.row(row, named=True)
        texts = {**options, **{name: str(value) for name, value in chosen.items() if value is not None}}
        behind: Callable[[History, Mapping[str, str]], pl.DataFrame] = question.jobs_behind
        with self.records.current() as warehouse:
            history = self._history(warehouse, view)
            asked = ("jobs", section.mark, question.name, *_key(history), tuple(sorted(texts.items())))
            jobs: pl.DataFrame = self._kept.get(asked, lambda: behind(history, texts))
        return chosen, jobs

    def choices(self, view: View) -> dict[str, list[str]]:
        """Return what each filter can be set to."""
        with self.records.current() as warehouse:
            history = History(warehouse, _day(warehouse, view), view.scope)
            choices: dict[str, list[str]] = self._kept.get(("choices", *_key(history)), lambda: scope_choices(history))
        return choices

    def day(self, view: View) -> dt.date:
        """Return the day as of which the view is asked: the last on record where it names none."""
        with self.records.current() as warehouse:
            return _day(warehouse, view)

    def check(self) -> None:
        """Raise WarehouseError where no job records can be read."""
        with self.records.current():
            return

    def sheet(self, job: str, view: View) -> JobSheet:
        """Return the whole sheet of one job; raises QuestionError where no such job was known."""
        with self.records.current() as warehouse:
            return job_sheet(self._history(warehouse, view), job)

    def standing(self) -> RecordsStanding:
        """Return how sound the job records are."""
        with self.records.current() as warehouse:
            standing: RecordsStanding = self._kept.get(
                ("standing", warehouse.version), lambda: records_standing(warehouse)
            )
        return standing

    def _question(self, section: Section, view: View) -> tuple[Question, dict[str, str]]:
        question = find_question(section.question, self.questions)
        chosen = question.chosen({**section.options, **view.options.get(section.mark, {})})
        return question, with_acknowledged(question, chosen, self.records.folder)

    def _history(self, warehouse: Warehouse, view: View) -> History:
        history = History(warehouse, _day(warehouse, view), view.scope)
        check_scope(view.scope, self._kept.get(("choices", *_key(history)), lambda: scope_choices(history)))
        return history


def _day(warehouse: Warehouse, view: View) -> dt.date:
    return day_asked(warehouse, view.as_of, dt.date.today())


def _answer_key(section: Section, question: Question, history: History, options: Mapping[str, str]) -> tuple[Any, ...]:
    return ("answer", section.mark, question.name, *_key(history), tuple(sorted(options.items())))


def _key(history: History) -> tuple[Any, ...]:
    filters = tuple(sorted(history.scope.filters().items()))
    return history.warehouse.version, history.as_of, filters


def _shown(section: Section, question: Question, history: History, options: Mapping[str, str]) -> Shown:
    answer = question.ask(history, options)
    charts = [compiled(chart) for make in section.charts if (chart := make(answer)) is not None]
    named = {option.name for option in question.options if option.shown}
    return shown_answer(
        section, question, answer, charts, {name: value for name, value in options.items() if name in named}
    )
