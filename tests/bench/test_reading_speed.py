"""Reading a large CSV as text, every line accounted for, against DuckDB's bare typed reading of the same file."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import duckdb
import pytest

from ingest.read_folder import read_sources

ROWS = 4_000_000
TYPES = ("VARCHAR", "VARCHAR", "VARCHAR", "DOUBLE", "VARCHAR", "VARCHAR", "VARCHAR", "DATE")


def write_findings(path: Path) -> None:
    duckdb.connect().execute(
        f"""copy (select 'J' || lpad((i // 20)::varchar, 6, '0') as job, 'position ' || i % 20 as position,
        (i % 5)::varchar as grade, (i % 150) / 1000.0 as "ring_gap (mm)", 'ring_wear' as damage_mode, 'sound' as role,
        'replaced_routine' as action, date '2019-01-01' + (i % 300)::int as entered from range({ROWS}) as t(i))
        to '{path}' (header, delimiter ',')"""
    ).fetchall()


def seconds(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


@pytest.mark.bench
def test_reading_a_large_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    source = tmp_path / "findings.csv"
    write_findings(source)
    columns = "{" + ", ".join(f"'c{i}': '{kind}'" for i, kind in enumerate(TYPES)) + "}"

    def bare(name: str) -> None:
        connection = duckdb.connect(tmp_path / name)
        connection.execute(
            f"create table t as select * from read_csv('{source}', auto_detect = false, delim = ',', quote = '\"', "
            f"header = true, columns = {columns})"
        ).fetchall()
        connection.close()

    def ours(name: str) -> None:
        connection = duckdb.connect(tmp_path / name)
        [table] = read_sources(connection, [source], None)
        assert table.rows == ROWS
        connection.close()

    pairs = [(seconds(lambda n=n: bare(f"b{n}")), seconds(lambda n=n: ours(f"o{n}"))) for n in range(4)]  # type: ignore[misc]
    best_bare, best_ours = (min(times) for times in zip(*pairs, strict=True))
    with capsys.disabled():
        print(f"\nreading {ROWS} rows: {best_ours:.2f} s, bare {best_bare:.2f} s, ratio {best_ours / best_bare:.2f}")
    assert best_ours < 1.3 * best_bare
