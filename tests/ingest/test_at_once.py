"""Works run at once give what they would give one after the other, and end together where one fails."""

from __future__ import annotations

import re
import time
from functools import partial
from threading import Barrier

import duckdb
import pytest

from ingest.at_once import AT_ONCE, at_once
from ingest.gather import links_of
from ingest.records import FIRST_RECORDS, RECORDS, RECORDS_OF_JOBS
from ingest.rules import rules_of

LONG = "select count(*) from range(1000000000) a(i), range(1000000000) b(j) where (i * 7 + j) % 11 = 3"


def test_results_come_in_the_order_of_the_works() -> None:
    connection = duckdb.connect()

    def count(rows: int, on: duckdb.DuckDBPyConnection) -> int:
        time.sleep(0.05 if rows % 2 else 0)
        on.execute(f"create temp table own as select * from range({rows})")
        on.execute(f"create table shared_{rows} as select * from own")
        return int(on.execute("select count(*) from own").fetchall()[0][0])

    assert list(at_once(connection, [partial(count, rows) for rows in range(9)])) == list(range(9))
    assert connection.execute("select count(*) from duckdb_tables() where table_name like 'shared%'").fetchall() == [
        (9,)
    ]


def test_works_run_at_the_same_time() -> None:
    together = Barrier(AT_ONCE, timeout=10)
    assert sorted(at_once(duckdb.connect(), [lambda _: together.wait()] * AT_ONCE)) == list(range(AT_ONCE))


def test_the_first_error_in_order_is_raised_and_the_rest_broken_off() -> None:
    started = Barrier(2, timeout=10)

    def fail(_: duckdb.DuckDBPyConnection) -> None:
        started.wait()
        raise ValueError("the first")

    def work_beside(on: duckdb.DuckDBPyConnection) -> None:
        started.wait()
        work_on(on)

    def work_on(on: duckdb.DuckDBPyConnection) -> None:
        on.execute(LONG).fetchall()

    began = time.monotonic()
    with pytest.raises(ValueError, match="the first"):
        list(at_once(duckdb.connect(), [fail, work_beside, *[work_on] * AT_ONCE]))
    assert time.monotonic() - began < 30


def test_records_decided_at_once_need_none_of_each_other() -> None:
    assert FIRST_RECORDS + RECORDS_OF_JOBS == RECORDS
    tables = {f"new.{kind}{record.name}" for record in RECORDS_OF_JOBS for kind in ("", "held_")}
    all_needed: set[str] = set()
    for record in RECORDS_OF_JOBS:
        needed = set(re.findall(r"new\.\w+", links_of(record).joins))
        needed |= {table for rule in rules_of(record) for table in re.findall(r"new\.\w+", rule.breaches)}
        assert not needed & tables, record.name
        all_needed |= needed
    assert {"new.job", "new.position", "new.shim_location"} <= all_needed
