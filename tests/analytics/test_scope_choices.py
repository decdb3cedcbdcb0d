"""What the filters can be set to, and what they cannot."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path

import pytest

from analytics.history import History
from analytics.question import QuestionError
from analytics.scope import PRIVATE_OWNERS, Scope
from analytics.scope_choices import check_scope, scope_choices
from analytics.warehouse_file import open_warehouse
from tests.one_job import load_one_job


@pytest.fixture(scope="module")
def history(tmp_path_factory: pytest.TempPathFactory) -> Iterator[History]:
    folder: Path = load_one_job(tmp_path_factory.mktemp("one-job"))
    warehouse = open_warehouse(folder)
    yield History(warehouse, dt.date(2025, 1, 1))
    warehouse.close()


def test_choices_are_what_is_on_record(history: History) -> None:
    assert scope_choices(history) == {
        "family": ["K40"],
        "component": ["bearing", "crown_wheel_pinion"],
        "position": ["crown wheel and pinion", "pinion head bearing"],
        "supplier": ["Northgate Bearings"],
        "technician": ["T1", "T2"],
        "fleet": [PRIVATE_OWNERS],
        "duty": [],
        "kind": ["full_rebuild", "part_rebuild"],
    }


def test_choices_are_those_known_on_the_day(history: History) -> None:
    before = scope_choices(history.on(dt.date(2024, 3, 7)))
    assert before["technician"] == ["T2"]
    assert before["supplier"] == []


def test_positions_are_those_of_the_component_in_the_scope(history: History) -> None:
    of_bearings = scope_choices(history.within(Scope(component="bearing")))
    assert of_bearings["position"] == ["pinion head bearing"]
    assert len(of_bearings["component"]) == 2


def test_a_scope_on_record_passes(history: History) -> None:
    check_scope(Scope(family="K40", fleet=PRIVATE_OWNERS, since=dt.date(2024, 1, 1)), scope_choices(history))


@pytest.mark.parametrize(
    ("scope", "sentence"),
    [
        (Scope(family="K4O"), "there is no family 'K4O' on record; did you mean 'K40'"),
        (Scope(technician="somebody"), "there is no technician 'somebody' on record; there are T1, T2"),
        (Scope(duty="tow"), "there is no duty 'tow' on record$"),
    ],
)
def test_a_scope_that_is_not_on_record_is_refused_with_what_is(history: History, scope: Scope, sentence: str) -> None:
    with pytest.raises(QuestionError, match=sentence):
        check_scope(scope, scope_choices(history))
