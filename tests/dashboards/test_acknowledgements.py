"""Acknowledgements are kept beside the job records, survive reloads, and are handed to the question that takes them."""

from __future__ import annotations

import datetime as dt
import sqlite3
from pathlib import Path

import pytest

from analytics.question import QuestionError
from analytics.questions import every_question
from analytics.watch_acknowledged import Acknowledged, read_acknowledged
from dashboards.acknowledgements import FILE, LONGEST_NOTE, Acknowledgements, with_acknowledged
from tests.one_job import load_one_job

ONE = Acknowledged("lots / S / P / 1", dt.date(2024, 3, 1), dt.date(2024, 4, 1), "sent back", "RS")


def test_what_is_written_is_read_again(tmp_path: Path) -> None:
    kept = Acknowledgements(tmp_path)
    assert kept.every() == ()
    assert not (tmp_path / FILE).exists()
    kept.acknowledge(ONE)
    assert Acknowledgements(tmp_path).every() == (ONE,)
    with sqlite3.connect(tmp_path / FILE) as file:
        assert file.execute("pragma journal_mode").fetchone() == ("wal",)
        assert file.execute("pragma user_version").fetchone() == (1,)


def test_a_second_note_on_one_alarm_replaces_the_first(tmp_path: Path) -> None:
    kept = Acknowledgements(tmp_path)
    kept.acknowledge(ONE)
    kept.acknowledge(Acknowledged(ONE.chart, ONE.raised, dt.date(2024, 5, 1), "credited", ""))
    assert [one.note for one in kept.every()] == ["credited"]


@pytest.mark.parametrize(("note", "why"), [("  ", "a few words"), ("x" * (LONGEST_NOTE + 1), "room for")])
def test_a_note_has_to_say_something_and_fit(tmp_path: Path, note: str, why: str) -> None:
    with pytest.raises(QuestionError, match=why):
        Acknowledgements(tmp_path).acknowledge(Acknowledged(ONE.chart, ONE.raised, ONE.acknowledged_on, note))
    assert Acknowledgements(tmp_path).every() == ()


def test_a_file_of_a_newer_program_is_refused_in_words(tmp_path: Path) -> None:
    with sqlite3.connect(tmp_path / FILE) as file:
        file.execute("pragma user_version = 99")
    with pytest.raises(QuestionError, match="newer Layshaft"):
        Acknowledgements(tmp_path).every()


def test_it_is_handed_to_the_watch_list_only_and_survives_a_reload(tmp_path: Path) -> None:
    folder = load_one_job(tmp_path)
    Acknowledgements(folder).acknowledge(ONE)
    questions = every_question()
    filled = with_acknowledged(questions["watch"], questions["watch"].chosen({}), folder)
    assert read_acknowledged(filled["acknowledged"], dt.date(2024, 6, 1)) == (ONE,)
    assert read_acknowledged(filled["acknowledged"], dt.date(2024, 3, 15)) == ()
    assert with_acknowledged(questions["compare"], {}, folder) == {}
    load_one_job(tmp_path)
    assert Acknowledgements(folder).every() == (ONE,)


def test_what_is_no_list_is_refused_in_words() -> None:
    with pytest.raises(QuestionError, match="JSON list"):
        read_acknowledged("[{}]", dt.date(2024, 1, 1))
