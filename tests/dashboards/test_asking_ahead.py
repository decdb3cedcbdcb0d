"""What the pages show by default is asked before anybody opens them, and asked again of newer records."""

from __future__ import annotations

import shutil
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path

import pytest

from analytics.answer import Answer
from analytics.history import History
from analytics.question import Question, QuestionError
from dashboards.address import View
from dashboards.app import app_of
from dashboards.asking import Asking
from dashboards.asking_ahead import AskingAhead
from dashboards.chart_engine import ChartEngine
from dashboards.every_page import PAGES
from dashboards.open_records import OpenRecords
from dashboards.requests_in_hand import RequestsInHand
from tests.answers_by_hand import questions_by_hand

SECTIONS = [section for page in PAGES for section in page.sections]
PATIENCE = 30.0  # seconds


class Watched:
    """Ask the questions by hand, noting which were asked of which version; the first can be held up or fail."""

    def __init__(self) -> None:
        self.asked: list[tuple[int, str]] = []
        self.go_on, self.fault = threading.Event(), False
        self.go_on.set()
        self.questions = {name: self._watched(question) for name, question in questions_by_hand().items()}

    def _watched(self, question: Question) -> Question:
        def ask(history: History, options: Mapping[str, str]) -> Answer:
            self.asked.append((history.warehouse.version, question.name))
            assert self.go_on.wait(PATIENCE)
            if self.fault and question.name == SECTIONS[0].question:
                raise QuestionError("not today")
            return question.ask(history, options)

        return replace(question, ask=ask)


@pytest.fixture
def folder(one_job_folder: Path, tmp_path: Path) -> Path:
    copied = tmp_path / "records"
    copied.mkdir()
    for version in (1, 2):
        shutil.copy(one_job_folder / "warehouse-000001.duckdb", copied / f"warehouse-{version:06d}.duckdb")
    return copied


@pytest.fixture
def watched() -> Watched:
    return Watched()


@pytest.fixture
def asking(folder: Path, watched: Watched) -> Asking:
    return Asking(OpenRecords(folder), watched.questions)


@pytest.fixture
def in_hand() -> RequestsInHand:
    return RequestsInHand()


@pytest.fixture
def ahead(asking: Asking, in_hand: RequestsInHand, watched: Watched) -> Iterator[AskingAhead]:
    made = AskingAhead(asking, PAGES, in_hand, look_again=0.02)
    yield made
    watched.go_on.set()
    made.stop()


def publish(folder: Path, version: int) -> None:
    (folder / "CURRENT.new").write_text(str(version))
    (folder / "CURRENT.new").replace(folder / "CURRENT")


def until(true: Callable[[], bool]) -> None:
    """Wait until something is true, and fail where it does not become so."""
    end = time.monotonic() + PATIENCE
    while not true():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.005)


def test_the_first_visitor_finds_every_section_answered(
    folder: Path, asking: Asking, ahead: AskingAhead, watched: Watched
) -> None:
    publish(folder, 1)
    ahead.start()
    until(lambda: ahead.asked_of(1))
    assert watched.asked == [(1, section.question) for section in SECTIONS]
    for section in SECTIONS:
        assert asking.answer(section, View()).answer.question == section.question
    assert len(watched.asked) == len(SECTIONS)


def test_newer_records_are_asked_again(folder: Path, ahead: AskingAhead, watched: Watched) -> None:
    publish(folder, 1)
    ahead.start()
    until(lambda: ahead.asked_of(1))
    publish(folder, 2)
    until(lambda: ahead.asked_of(2))
    assert watched.asked[len(SECTIONS) :] == [(2, section.question) for section in SECTIONS]


def test_records_published_halfway_are_begun_with_at_once(folder: Path, ahead: AskingAhead, watched: Watched) -> None:
    publish(folder, 1)
    watched.go_on.clear()
    ahead.start()
    until(lambda: len(watched.asked) == 1)
    publish(folder, 2)
    watched.go_on.set()
    until(lambda: ahead.asked_of(2))
    assert watched.asked == [(1, SECTIONS[0].question), *[(2, section.question) for section in SECTIONS]]


def test_it_waits_for_records_to_be_loaded(folder: Path, ahead: AskingAhead, watched: Watched) -> None:
    ahead.start()
    time.sleep(0.1)
    assert watched.asked == []
    publish(folder, 1)
    until(lambda: ahead.asked_of(1))


def test_it_gives_way_while_a_request_is_in_hand(
    folder: Path, ahead: AskingAhead, in_hand: RequestsInHand, watched: Watched
) -> None:
    publish(folder, 1)
    in_hand.begin()
    ahead.start()
    time.sleep(0.8)
    assert watched.asked == []
    in_hand.end()
    until(lambda: ahead.asked_of(1))


def test_stopped_it_asks_no_further_question(folder: Path, ahead: AskingAhead, watched: Watched) -> None:
    publish(folder, 1)
    watched.go_on.clear()
    ahead.start()
    until(lambda: len(watched.asked) == 1)
    stopping = threading.Thread(target=ahead.stop)
    stopping.start()
    stopping.join(0.2)  # long enough to say so, not to end: the first question is still in hand
    watched.go_on.set()
    stopping.join(PATIENCE)
    assert not stopping.is_alive()
    assert watched.asked == [(1, SECTIONS[0].question)]


def test_a_question_that_cannot_be_asked_holds_up_no_other(
    folder: Path, asking: Asking, ahead: AskingAhead, watched: Watched
) -> None:
    watched.fault = True
    publish(folder, 1)
    ahead.start()
    until(lambda: ahead.asked_of(1))
    assert len(watched.asked) == len(SECTIONS)
    with pytest.raises(QuestionError, match="not today"):
        asking.answer(SECTIONS[0], View())


def test_requests_are_counted_to_their_end(folder: Path, asking: Asking, in_hand: RequestsInHand) -> None:
    app, stop = app_of(asking, ChartEngine()), threading.Event()
    in_hand.count_those_of(app.server)
    seen: list[bool] = []

    @app.server.get("/halfway")
    def halfway() -> str:
        threading.Timer(0.2, stop.set).start()
        seen.append(in_hand.wait_for_quiet(0.05, stop))
        return "told"

    assert app.server.test_client().get("/halfway").text == "told"
    assert seen == [False]
    assert in_hand.wait_for_quiet(0.05, threading.Event())
