"""Run pieces of work that do not wait for each other at the same time, each on a connection of its own."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, wait
from typing import TypeVar

import duckdb

AT_ONCE = 3  # enough to leave no core idle where a statement keeps only one busy; more would only take memory
_SECONDS_BETWEEN_INTERRUPTS = 0.05

Result = TypeVar("Result")


def at_once(
    connection: duckdb.DuckDBPyConnection, works: Sequence[Callable[[duckdb.DuckDBPyConnection], Result]]
) -> Iterator[Result]:
    """Yield what each work gives, in the order of `works`, whichever is done first.

    The connections share all tables but temporary ones. The first error in the order of `works` is raised, and what
    still runs is broken off.
    """
    cursors = [connection.cursor() for _ in works]
    try:
        with ThreadPoolExecutor(AT_ONCE) as pool:
            running = [pool.submit(work, cursor) for work, cursor in zip(works, cursors, strict=True)]
            try:
                for one in running:
                    yield one.result()
            except BaseException:
                _break_off(running, cursors)
                raise
    finally:
        for cursor in cursors:
            cursor.close()


def _break_off(running: Sequence[Future[Result]], cursors: Sequence[duckdb.DuckDBPyConnection]) -> None:
    """Interrupt every statement until no work is left that would begin another."""
    for one in running:
        one.cancel()
    while wait(running, timeout=_SECONDS_BETWEEN_INTERRUPTS).not_done:
        for cursor in cursors:
            cursor.interrupt()
