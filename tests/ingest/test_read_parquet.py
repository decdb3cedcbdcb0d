"""Parquet comes in as the same text that a workbook with the same cells gives."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal
from pathlib import Path

import duckdb
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.plan import LoadError
from ingest.raw_table import number_text, store_rows
from ingest.read_parquet import read_parquet


def read(path: Path, frame: pl.DataFrame) -> tuple[object, list[tuple[object, ...]]]:
    frame.write_parquet(path)
    connection = duckdb.connect()
    table = read_parquet(connection, path)
    return table, connection.sql(f"from {table.raw_table}").fetchall()


def test_every_kind_of_column(tmp_path: Path) -> None:
    frame = pl.DataFrame(
        {
            "text": ["J1", None, " "],
            "whole": [12, None, None],
            "real": [0.1 + 0.2, None, None],
            "exact": pl.Series([Decimal("12.50"), None, None], dtype=pl.Decimal(10, 2)),
            "day": [date(2020, 1, 2), None, None],
            "moment": [datetime(2020, 1, 2), datetime(2020, 1, 2, 3, 4, 5), None],
            "flag": [True, False, None],
        }
    )
    table, rows = read(tmp_path / "jobs [1].parquet", frame)
    assert rows == [
        (1, "J1", "12", "0.3", "12.5", "2020-01-02", "2020-01-02", "true"),
        (2, None, None, None, None, None, "2020-01-02 03:04:05", "false"),
    ]
    assert table.rows == 2  # type: ignore[attr-defined]


numbers_written = st.floats(-1e12, 1e12, allow_subnormal=False).filter(lambda x: x == 0 or abs(x) > 1e-3)


@settings(max_examples=40, deadline=None)
@given(st.lists(numbers_written, min_size=1, max_size=20))
def test_numbers_read_as_in_a_workbook(tmp_path_factory: pytest.TempPathFactory, numbers: list[float]) -> None:
    _, rows = read(tmp_path_factory.mktemp("parquet") / "n.parquet", pl.DataFrame({"n": numbers}))
    for (_, text), number in zip(rows, numbers, strict=True):
        assert float(str(text)) == pytest.approx(float(number_text(number)), rel=1e-14, abs=1e-18)
        assert "e" not in str(text)


def test_the_same_content_has_the_digest_of_any_other_format(tmp_path: Path) -> None:
    table, _ = read(tmp_path / "a.parquet", pl.DataFrame({"job": ["J1", "J2"], "n": [1, None]}))
    other = store_rows(duckdb.connect(), Path("a.csv"), None, 1, ["job", "n"], [(2, ["J1", "1"]), (3, ["J2", ""])])
    assert table.content_digest == other.content_digest  # type: ignore[attr-defined]


def test_nested_columns_and_other_files_are_refused(tmp_path: Path) -> None:
    with pytest.raises(LoadError, match=r"x\.parquet, column 'a': expected text, numbers, dates or flags"):
        read(tmp_path / "x.parquet", pl.DataFrame({"a": [[1, 2]]}))
    path = tmp_path / "y.parquet"
    for data, sentence in ((b"", "empty"), (b"job,position\n", "expected a Parquet file")):
        path.write_bytes(data)
        with pytest.raises(LoadError, match=sentence):
            read_parquet(duckdb.connect(), path)
    pl.DataFrame({"a": list(range(10_000))}).write_parquet(path)
    path.write_bytes(path.read_bytes()[:-20])
    with pytest.raises(LoadError, match="Parquet file"):
        read_parquet(duckdb.connect(), path)
