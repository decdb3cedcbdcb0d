"""A row that was chosen is known again by what it is about, whatever else the next load changes."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import polars as pl
from hypothesis import given
from hypothesis import strategies as st

from analytics.answer import Column
from dashboards.row_keys import naming_cells, row_keys

COLUMNS = (
    Column("family", "Family"),
    Column("year", "Year", unit="year"),
    Column("jobs", "Jobs"),
    Column("rate", "Failed", unit="share"),
    Column("low", "from", unit="share"),
    Column("high", "to", unit="share"),
    Column("verdict", "Verdict"),
)
ROWS = pl.DataFrame(
    {
        "chart": ["a", "b", "c"], "family": ["K40", "K40", "M5"], "year": [2023, 2024, 2024], "jobs": [10, 20, 30],
        "rate": [0.1, 0.2, 0.3], "low": [0.0, 0.1, 0.2], "high": [0.2, 0.3, 0.4], "verdict": ["x", "y", "z"],
    }
)  # fmt: skip


def test_what_stands_before_the_first_estimate_names_a_row_and_counts_do_not() -> None:
    assert naming_cells(COLUMNS, ROWS) == ["family", "year"]


def test_keys_hold_whatever_the_next_load_changes_and_in_whatever_order() -> None:
    keys = row_keys(COLUMNS, ROWS, 1)
    assert len(set(keys)) == 3
    later = ROWS.with_columns(pl.col("jobs") + 1, pl.col("rate") / 2, verdict=pl.lit("other"))
    assert row_keys(COLUMNS, later, 2) == keys
    assert row_keys(COLUMNS, later.reverse(), 2) == keys[::-1]
    assert keys[0] not in row_keys(COLUMNS, later.with_columns(year=pl.lit(2025)), 2)


def test_a_single_row_is_not_taken_for_another_of_which_less_would_be_told() -> None:
    assert row_keys(COLUMNS, ROWS[:1], 1) == row_keys(COLUMNS, ROWS, 1)[:1]
    assert row_keys(COLUMNS, ROWS[1:2], 1) != row_keys(COLUMNS, ROWS[:1], 1)


def test_rows_about_the_same_are_told_apart_by_all_they_hold() -> None:
    twice = pl.concat([ROWS[:1], ROWS[:1].with_columns(jobs=pl.lit(11, dtype=pl.Int64))])
    before, after = row_keys(COLUMNS, twice, 1), row_keys(COLUMNS, twice.with_columns(pl.col("jobs") + 1), 2)
    assert len({*before, *after}) == 4  # though 11 jobs are those of the second before and of the first after
    assert row_keys(COLUMNS, twice.reverse(), 1) == before[::-1]
    assert row_keys(COLUMNS, ROWS, 1)[0] not in before


def test_a_section_may_say_by_what_its_rows_are_known() -> None:
    keys = row_keys(COLUMNS, ROWS, 1, known_by=("chart",))
    assert row_keys(COLUMNS, ROWS.with_columns(family=pl.lit("other")), 2, known_by=("chart",)) == keys
    assert len(set(keys)) == 3


def test_rows_of_an_answer_about_one_unit_are_known_in_its_version_only() -> None:
    keys = row_keys(COLUMNS, ROWS, 1, in_this_version=True)
    assert row_keys(COLUMNS, ROWS.reverse(), 1, in_this_version=True) == keys[::-1]
    assert not set(keys) & set(row_keys(COLUMNS, ROWS, 2, in_this_version=True))


cells = st.one_of(st.none(), st.text(max_size=4), st.dates(dt.date(2020, 1, 1), dt.date(2020, 1, 9)).map(str))


@given(st.lists(st.tuples(cells, cells), min_size=2, max_size=8, unique=True))
def test_different_cells_have_different_keys(told: list[tuple[str | None, str | None]]) -> None:
    rows = pl.DataFrame(told, schema={"one": pl.String, "other": pl.String}, orient="row")
    columns = (replace(COLUMNS[0], name="one"), replace(COLUMNS[0], name="other"))
    assert len(set(row_keys(columns, rows, 1))) == len(told)
