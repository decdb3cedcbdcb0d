"""Ask what every page shows by default before anybody opens it, whenever job records were published."""

from __future__ import annotations

import datetime as dt
import threading
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import Any

from analytics.warehouse_file import WarehouseError, published_version
from dashboards.address import View
from dashboards.asking import Asking
from dashboards.in_words import in_words
from dashboards.page import Page
from dashboards.requests_in_hand import RequestsInHand

LOOK_AGAIN_SECONDS = 2.0
QUIET_SECONDS = 0.3


class AskingAhead:
    """Ask each page's sections once for every version and day, one after the other, in a thread of its own.

    Between two answers it waits until no request has been in hand for a moment, so that a visitor never shares the
    machine with more than the one answer just being made. The thread keeps its ordinary priority: a thread of lower
    priority that holds the interpreter's lock would hold up the visitors too. What fails is told to the visitor who
    asks the same; unforeseen faults are logged.
    """

    def __init__(
        self, asking: Asking, pages: Sequence[Page], in_hand: RequestsInHand, look_again: float = LOOK_AGAIN_SECONDS
    ) -> None:
        """Prepare to ask the sections of `pages`, and to look for newer records every `look_again` seconds."""
        self._asking = asking
        self._pages = pages
        self._in_hand = in_hand
        self._look_again = look_again
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="asking ahead", daemon=True)
        self._asked: tuple[int, dt.date] | None = None

    def start(self) -> None:
        """Begin asking."""
        self._thread.start()

    def stop(self) -> None:
        """Ask no further question, and wait for the one in hand."""
        self._stop.set()
        self._thread.join()

    def asked_of(self, version: int) -> bool:
        """Return whether everything was asked of this version of the job records."""
        asked = self._asked
        return asked is not None and asked[0] == version

    def _run(self) -> None:
        while not self._stop.is_set():
            now = self._published()
            if now is None or now == self._asked:
                self._stop.wait(self._look_again)
            elif self._ask_all(now):
                self._asked = now

    def _published(self) -> tuple[int, dt.date] | None:
        """Return the version published and the day asked by default, None where no job records can be read."""
        try:
            return published_version(self._asking.records.folder), self._asking.day(View())
        except WarehouseError:
            return None  # every page says so; records loaded later are seen at the next look

    def _ask_all(self, begun: tuple[int, dt.date]) -> bool:
        """Return whether everything was asked before the thread was stopped or other records were published."""
        for ask in self._everything():
            if not self._in_hand.wait_for_quiet(QUIET_SECONDS, self._stop) or self._published() != begun:
                return False
            in_words(ask, lambda why: None)
        return True

    def _everything(self) -> Iterator[Callable[[], Any]]:
        yield partial(self._asking.choices, View())
        for page in self._pages:
            for section in page.sections:
                yield partial(self._asking.answer, section, View())
        yield self._asking.standing
