"""Made values are kept up to a bound, and made once."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor

import pytest

from analytics.bounded_cache import BoundedCache


def test_the_value_asked_for_longest_ago_leaves_first() -> None:
    cache, made = BoundedCache(2), []
    for key in ("a", "b", "a", "c", "a", "b"):
        cache.get(key, lambda key=key: made.append(key))
    assert made == ["a", "b", "c", "b"]
    assert len(cache) == 2


def test_eight_threads_asking_at_once_make_it_once() -> None:
    cache, together, made = BoundedCache(4), threading.Barrier(8), []

    def ask() -> int:
        together.wait(timeout=10)
        return cache.get("key", lambda: made.append(1) or 7)

    with ThreadPoolExecutor(8) as pool:
        answers = [future.result() for future in [pool.submit(ask) for _ in range(8)]]
    assert answers == [7] * 8
    assert made == [1]


def test_what_could_not_be_made_is_told_and_tried_again() -> None:
    cache = BoundedCache(2)
    with pytest.raises(ZeroDivisionError):
        cache.get("key", lambda: 1 // 0)
    assert len(cache) == 0
    assert cache.get("key", lambda: 5) == 5
