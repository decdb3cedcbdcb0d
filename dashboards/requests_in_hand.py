"""Count the requests that are being answered, so that work nobody waits for can give way to them."""

from __future__ import annotations

import threading
import time

from flask import Flask, g


class RequestsInHand:
    """Know how many requests are in hand, and since when there have been none."""

    def __init__(self) -> None:
        """Begin with none in hand."""
        self._count = 0
        self._quiet_since = float("-inf")
        self._changed = threading.Condition()

    def count_those_of(self, server: Flask) -> None:
        """Count every request of `server` from its beginning to its end."""

        @server.before_request
        def _begin() -> None:
            g.in_hand = True
            self.begin()

        @server.teardown_request
        def _end(fault: BaseException | None) -> None:
            if g.pop("in_hand", False):
                self.end()

    def begin(self) -> None:
        """Count one more."""
        with self._changed:
            self._count += 1

    def end(self) -> None:
        """Count one less."""
        with self._changed:
            self._count -= 1
            self._quiet_since = time.monotonic()
            self._changed.notify_all()

    def wait_for_quiet(self, seconds: float, stop: threading.Event) -> bool:
        """Wait until no request has been in hand for `seconds`; return False as soon as `stop` is set."""
        while not stop.is_set():
            with self._changed:
                left = seconds if self._count else self._quiet_since + seconds - time.monotonic()
                if left <= 0:
                    return True
            stop.wait(left)
        return False
