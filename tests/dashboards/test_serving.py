"""The pages are served on this machine, and say when they are ready."""

from __future__ import annotations

import socket
import threading
import urllib.request
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import pytest

from analytics.answer import Answer
from analytics.history import History
from dashboards.serving import ServingError, serve
from tests.answers_by_hand import questions_by_hand


def test_the_address_told_answers(one_job_folder: Path) -> None:
    ready, told = threading.Event(), []

    def when_ready(address: str) -> None:
        told.append(address)
        ready.set()

    thread = threading.Thread(
        target=serve, args=(one_job_folder, "127.0.0.1", 0, when_ready, questions_by_hand()), daemon=True
    )
    thread.start()
    assert ready.wait(timeout=20)
    assert told[0].startswith("http://127.0.0.1:")
    with urllib.request.urlopen(told[0], timeout=10) as answer:
        assert b"Layshaft" in answer.read()


def test_what_the_pages_show_is_asked_before_anybody_opens_them(one_job_folder: Path) -> None:
    asked, by_hand = threading.Event(), questions_by_hand()

    def ask(history: History, options: Mapping[str, str]) -> Answer:
        asked.set()
        return by_hand["warranty-cost"].ask(history, options)

    told = {**by_hand, "warranty-cost": replace(by_hand["warranty-cost"], ask=ask)}
    threading.Thread(target=serve, args=(one_job_folder, "127.0.0.1", 0, None, told), daemon=True).start()
    assert asked.wait(timeout=20)


def test_a_port_in_use_is_said_plainly(one_job_folder: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(ServingError, match=rf"the pages cannot be served at 127.0.0.1:{port}: .*in use"):
            serve(one_job_folder, "127.0.0.1", port, questions=questions_by_hand())
