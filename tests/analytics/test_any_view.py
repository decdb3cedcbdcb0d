"""Whatever view of the job records is asked for, a question answers or says in a sentence why it cannot."""

from __future__ import annotations

import datetime as dt
import json
import random
from pathlib import Path

import pytest

from analytics.history import History
from analytics.question import Question, QuestionError
from analytics.questions import every_question
from analytics.scope import Scope
from analytics.scope_choices import scope_choices
from analytics.warehouse_file import open_warehouse

VIEWS = 40  # of each question
FIRST, DAYS = dt.date(2015, 6, 1), 4_200  # from before the first job to after the last
NARROWED, CHOSEN = 0.22, 0.4  # how often a filter is set, and an option


@pytest.mark.long
@pytest.mark.parametrize("name", list(every_question()))
def test_a_question_answers_in_any_view_or_says_why_not(demo_warehouse_folder: Path, name: str) -> None:
    warehouse, question = open_warehouse(demo_warehouse_folder), every_question()[name]
    latest = warehouse.query("select latest from warehouse_format")["latest"][0]
    choices = scope_choices(History(warehouse, latest, Scope()))
    draw, answered = random.Random(name), 0
    for _ in range(VIEWS):
        narrowed = {filter_: draw.choice(values) for filter_, values in choices.items() if draw.random() < NARROWED}
        history = History(warehouse, FIRST + dt.timedelta(days=draw.randrange(DAYS)), Scope(**narrowed))
        try:
            answer = question.ask(history, question.chosen(_some_options(question, draw)))
        except QuestionError:
            continue  # any other fault fails
        assert answer.sentence
        json.dumps(answer.to_plain(), allow_nan=False)
        answered += 1
    assert answered >= VIEWS // 8
    warehouse.close()


def _some_options(question: Question, draw: random.Random) -> dict[str, str]:
    return {
        option.name: draw.choice(list(option.choices))
        for option in question.options
        if option.choices and draw.random() < CHOSEN
    }
