"""Keep a bounded number of made values, each made once however many threads ask for it."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import Future
from typing import Any


class BoundedCache:
    """Hold up to `size` made values; the one asked for longest ago leaves first. What could not be made is not kept."""

    def __init__(self, size: int) -> None:
        """Make an empty cache."""
        self._size = size
        self._made: OrderedDict[Hashable, Future[Any]] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, key: Hashable, make: Callable[[], Any]) -> Any:
        """Return the value kept under `key`, made by `make()` where there is none yet.

        A second thread that asks while the first is making waits for it. Raises what `make` raises.
        """
        with self._lock:
            future = self._made.get(key)
            mine = future is None
            if future is None:
                future = self._made[key] = Future()
                while len(self._made) > self._size:
                    self._made.popitem(last=False)
            else:
                self._made.move_to_end(key)
        if mine:
            self._fill(key, future, make)
        return future.result()

    def made(self, key: Hashable) -> Any:
        """Return the value kept under `key`, None where there is none or where it is still being made."""
        with self._lock:
            future = self._made.get(key)
            if future is None or not future.done() or future.exception() is not None:
                return None
            self._made.move_to_end(key)
        return future.result()

    def __len__(self) -> int:
        """Return how many values are kept."""
        return len(self._made)

    def _fill(self, key: Hashable, future: Future[Any], make: Callable[[], Any]) -> None:
        try:
            future.set_result(make())
        except BaseException as fault:
            with self._lock:
                if self._made.get(key) is future:
                    del self._made[key]
            future.set_exception(fault)
