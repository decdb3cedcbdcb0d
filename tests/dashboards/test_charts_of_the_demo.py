"""Every section of every page draws what its question answers, under each choice that the section offers."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from analytics.history import History
from analytics.question import QuestionError
from analytics.questions import every_question
from analytics.warehouse_file import open_warehouse
from dashboards.compiled_chart import compiled
from dashboards.every_page import PAGES
from dashboards.page import Section

SECTIONS = {section.mark: section for page in PAGES for section in page.sections}
COSTLY = {"shuffles"}  # choices that change how long is reckoned, not what is shown


@pytest.fixture(scope="module")
def history(demo_warehouse_folder: Path) -> Iterator[History]:
    warehouse = open_warehouse(demo_warehouse_folder)
    yield History(warehouse, warehouse.query("select latest from warehouse_format")["latest"][0])
    warehouse.close()


@pytest.mark.parametrize("section", SECTIONS.values(), ids=SECTIONS)
def test_a_section_draws_under_each_of_its_choices(history: History, section: Section) -> None:
    question = every_question()[section.question]
    chosen = [{}, *({o.name: c} for o in question.options if o.name not in COSTLY for c in o.choices or ())]
    drawn = 0
    for given in chosen:
        try:
            answer = question.ask(history, question.chosen({**section.options, **given}))
        except QuestionError as why:  # a clue alone is not enough
            assert "needs the unit family" in str(why)  # noqa: PT017 (one refusal is as it should be, none other)
            continue
        made = [chart(answer) for chart in section.charts]
        drawn += sum(1 for chart in made if chart is not None and compiled(chart).drawing)
    assert drawn > 0 or not section.charts
