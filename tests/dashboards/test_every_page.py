"""The declarations of the pages: every section asks a question that exists, of columns that exist."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path

import pytest

from analytics.history import History
from analytics.questions import every_question
from analytics.warehouse_file import open_warehouse
from dashboards.every_page import PAGES, page_at
from dashboards.page import ALL_FILTERS, Page, Section

SECTIONS = [
    pytest.param(page, section, id=f"{page.address}#{section.mark}") for page in PAGES for section in page.sections
]


@pytest.fixture(scope="module")
def history(one_job_folder: Path) -> Iterator[History]:
    warehouse = open_warehouse(one_job_folder)
    yield History(warehouse, dt.date(2025, 1, 1))
    warehouse.close()


@pytest.mark.parametrize(("page", "section"), SECTIONS)
def test_a_section_asks_a_question_that_exists_with_options_that_exist(page: Page, section: Section) -> None:
    question = every_question()[section.question]
    question.chosen(section.options)
    assert question.jobs_behind is not None


@pytest.mark.parametrize(("page", "section"), SECTIONS)
def test_a_section_names_columns_of_its_answer(page: Page, section: Section, history: History) -> None:
    question = every_question()[section.question]
    by = next((option.choices for option in question.options if option.name == "by"), ())
    names: set[str] = set()
    for options in [{"by": choice} for choice in by] or [{}]:
        answer = question.ask(history, question.chosen({**section.options, **options}))
        names |= {column.name for column in answer.columns}
    assert set(section.table) <= names
    assert set(section.narrow) <= names
    assert not section.table or set(section.narrow) <= set(section.table)


@pytest.mark.parametrize(("page", "section"), SECTIONS)
def test_one_job_is_too_few_to_say_and_still_a_sentence(page: Page, section: Section, history: History) -> None:
    question = every_question()[section.question]
    answer = question.ask(history, question.chosen(section.options))
    assert answer.sentence.endswith(".")
    assert "%" not in answer.number
    for chart in section.charts:
        chart(answer)


def test_what_takes_a_unit_of_its_own_accord_says_so() -> None:
    told = {section.mark for page in PAGES for section in page.sections if section.of_one_unit}
    takes_a_job = {
        section.mark
        for page in PAGES
        for section in page.sections
        if any(option.name == "job" for option in every_question()[section.question].options)
    }
    assert told == takes_a_job != set()


@pytest.mark.parametrize(("page", "section"), SECTIONS)
def test_rows_are_known_by_cells_that_the_answer_has(page: Page, section: Section, history: History) -> None:
    question = every_question()[section.question]
    assert set(section.known_by) <= set(question.ask(history, question.chosen(section.options)).rows.columns)


def test_marks_and_addresses_are_used_once() -> None:
    addresses = [page.address for page in PAGES]
    assert len(set(addresses)) == len(addresses)
    for page in PAGES:
        marks = [section.mark for section in page.sections]
        assert len(set(marks)) == len(marks)
        assert set(page.filters) <= set(ALL_FILTERS)


def test_a_page_is_found_with_and_without_a_last_stroke() -> None:
    assert page_at("/owner") is page_at("/owner/") is not None
    assert page_at("/owners") is None


def test_pages_with_settings_on_them_show_the_cautions() -> None:
    with_settings = {"shim-corrections", "first-try-shims", "response", "how-close-we-set"}
    for page in PAGES:
        assert page.cautions or not with_settings & {section.question for section in page.sections}
