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


def test_what_is_kept_can_be_had_without_making_it() -> None:
    cache = BoundedCache(2)
    assert cache.made("a") is None
    cache.get("a", lambda: 1)
    cache.get("b", lambda: 2)
    assert cache.made("a") == 1  # and counts as asked for
    cache.get("c", lambda: 3)
    assert (cache.made("a"), cache.made("b")) == (1, None)


def test_what_is_still_being_made_is_not_waited_for() -> None:
    cache = BoundedCache(2)
    assert cache.get("a", lambda: cache.made("a")) is None
