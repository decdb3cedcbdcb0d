"""Raw tables keep text as it is, and their digest follows content and order."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import duckdb
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.plan import RefusedRow, SourceTable
from ingest.raw_table import number_text, store_rows


def stored(
    rows: list[list[str | None]], headings: list[str | None], connection: duckdb.DuckDBPyConnection
) -> SourceTable:
    return store_rows(connection, Path("x.csv"), None, 1, headings, list(enumerate(rows, 2)))


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (12.0, "12"), (0.1, "0.1"), (0.1 + 0.2, "0.3"), (1e-7, "0.0000001"), (1e16, "10000000000000000"),
        (-0.0, "0"), (123456789.125, "123456789.125"), (-2.5, "-2.5"), (7, "7"), (Decimal("12.50"), "12.5"),
        (100.0, "100"),
    ],
)  # fmt: skip
def test_number_text(value: float | int | Decimal, text: str) -> None:
    assert number_text(value) == text


@given(st.decimals(allow_nan=False, allow_infinity=False, min_value=-(10**9), max_value=10**9, places=6))
def test_a_number_of_up_to_15_digits_survives_a_binary_cell(value: Decimal) -> None:
    assert Decimal(number_text(float(value))) == value


def test_blank_rows_and_unused_nameless_columns_are_left_out() -> None:
    connection = duckdb.connect()
    table = stored(
        [["1", None, "x", " "], [" ", "", "\u00a0", None], ["2", None, None, ""]], ["a", "", "b", None], connection
    )
    assert table.headings == ("a", "b")
    assert table.rows == 2
    assert connection.sql(f"from {table.raw_table}").fetchall() == [(2, "1", "x"), (4, "2", None)]


def test_a_nameless_column_with_a_value_is_kept_and_named_by_its_letter() -> None:
    table = stored([["1", "loose"]], ["a", ""], duckdb.connect())
    assert table.headings == ("a", "(column B)")


def test_digest_follows_cells_headings_order_and_refused_rows() -> None:
    def digest(rows: list[list[str | None]], headings: list[str | None], refused: tuple[RefusedRow, ...] = ()) -> str:
        made = store_rows(duckdb.connect(), Path("x"), None, 1, headings, list(enumerate(rows, 2)), refused)
        return made.content_digest

    base = digest([["1", "x"], ["2", "y"]], ["a", "b"])
    assert digest([["1", "x"], ["2", "y"]], ["a", "b"]) == base
    others = [
        digest([["2", "y"], ["1", "x"]], ["a", "b"]),
        digest([["1", "x"], ["2", "z"]], ["a", "b"]),
        digest([["1", "x"], ["2", "y"]], ["a", "c"]),
        digest([["1", "x"], ["2", "y"], ["2", "y"]], ["a", "b"]),
        digest([["1x", None], ["2", "y"]], ["a", "b"]),
        digest([["1", "x"], ["2", "y"]], ["a", "b"], (RefusedRow(4, "3;;;", "?"),)),
    ]
    assert len({base, *others}) == 7


def test_digest_does_not_depend_on_threads() -> None:
    rows: list[list[str | None]] = [[str(i), f"text {i % 7}"] for i in range(300_000)]
    digests = set()
    for threads in (1, 2):
        connection = duckdb.connect()
        connection.execute(f"set threads = {threads}").fetchall()
        digests.add(stored(rows, ["a", "b"], connection).content_digest)
    assert len(digests) == 1


def test_tables_of_one_connection_have_their_own_names() -> None:
    connection = duckdb.connect()
    assert len({stored([["1"]], ["a"], connection).raw_table for _ in range(3)}) == 3
