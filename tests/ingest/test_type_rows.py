"""Type rows: every number, date, word and unit as it was meant or not at all, and every fault said once, in words."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

import duckdb
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.field_sql import number_sql, quoted, steps_sql
from ingest.plan import ColumnPlan, LoadError, SheetPlan, SourceTable
from ingest.record_model import Field, Kind, RecordType
from ingest.records import record_named
from ingest.settle_style import check_units_known
from ingest.type_rows import type_rows
from ingest.units_of_measure import DIMENSIONS, DURATION, LENGTH, TORQUE, Dimension, steps_per_unit, to_steps
from tests.csv_workshop import BASE, CsvWorkshop


def _typed(column: ColumnPlan, texts: Sequence[str | None], typed_cells: bool = False) -> list[tuple[Any, str | None]]:
    """Type one column of texts; return each value with its fault."""
    connection = duckdb.connect()
    connection.execute("create table raw_0 (row_number bigint, c0 varchar)")
    connection.executemany("insert into raw_0 values (?, ?)", [(n, text) for n, text in enumerate(texts, 2)])
    table = SourceTable(Path("f.csv"), None, "raw_0", (column.heading,), 1, len(texts), typed_cells, "")
    plan = SheetPlan(RecordType("x", "", "", (column.field,)), table, (column,))
    rows = type_rows(connection, plan, 1, "key")
    return connection.execute(
        f"select {column.field.column}, broken[2] from ({rows.sql}) order by row_number"
    ).fetchall()


def _measure(dimension: Dimension, unit: str, decimal: str | None = None) -> ColumnPlan:
    return ColumnPlan(Field("x", Kind.MEASURE, "", dimension=dimension), "c0", "x", unit=unit, decimal=decimal)


NUMBERS = st.decimals(Decimal("-99999"), Decimal("999999"), places=3, allow_nan=False)


def _in_locale(number: Decimal, decimal: str, grouped: bool, places: int) -> str:
    text = f"{number:,.{places}f}" if grouped else f"{number:.{places}f}"
    return text if decimal == "." else text.translate(str.maketrans(",.", ".,"))


@settings(max_examples=60, deadline=None)
@given(
    st.lists(NUMBERS, min_size=1, max_size=6), st.sampled_from(".,"), st.booleans(), st.integers(0, 3), st.booleans()
)
def test_a_number_of_either_locale_is_read_as_meant_or_refused(
    numbers: list[Decimal], decimal: str, grouped: bool, places: int, typed_cells: bool
) -> None:
    numbers = [round(number, places) for number in numbers]
    texts = [_in_locale(number, decimal, grouped, places) for number in numbers]
    if typed_cells and any("," not in text and "." in text for text in texts):
        return  # such a text cannot be told from a number cell
    try:
        found = _typed(_measure(LENGTH, "mm"), texts, typed_cells)
    except LoadError:
        return
    assert [value for value, _ in found] == [int(number * 1000) for number in numbers]


def test_number_cells_keep_their_point_beside_texts_with_a_comma() -> None:
    texts = ["0.25", "1.234", "12,5", "1.250", "3"]  # 1.250 ends in a zero: no number cell does
    assert [v for v, _ in _typed(_measure(LENGTH, "mm"), texts, typed_cells=True)] == [250, 1234, 12500, 1250000, 3000]
    with pytest.raises(LoadError, match="'1,250' can be read in two ways"):
        _typed(_measure(LENGTH, "mm"), ["0.25", "1,250"], typed_cells=True)


@pytest.mark.parametrize("text", ["nan", "inf", "-inf", "1.2.3", "0,250", "12..5", "1,23", "12,5", "x", "1e400", "--1"])
def test_what_is_no_number_with_a_point_is_a_fault(text: str) -> None:
    ((value, fault),) = _typed(_measure(LENGTH, "mm", decimal="."), [text])
    assert value is None
    assert fault == f"'x': expected a number, found '{text}'"


UNITS = [(dimension, unit) for dimension in DIMENSIONS for unit in dimension.units]


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(UNITS), st.decimals(Decimal(-20_000), Decimal(20_000), places=4, allow_nan=False))
def test_steps_are_the_exact_decimal_product_half_to_even(unit: tuple[Dimension, str], value: Decimal) -> None:
    dimension, name = unit
    sql = steps_sql(number_sql(quoted(str(value)), "."), steps_per_unit(dimension, name))
    assert duckdb.sql(f"select {sql}").fetchall() == [(to_steps(dimension, value, name),)]


@settings(max_examples=150, deadline=None)
@given(
    st.sampled_from([(LENGTH, "mm", "thou"), (LENGTH, "mm", "in"), (TORQUE, "N.m", "lbf.in"), (TORQUE, "N.m", "lbf.ft"),
                     (TORQUE, "N.m", "kgf.cm"), (DURATION, "h", "min")]),
    st.integers(-3_000_000, 3_000_000),
)  # fmt: skip
def test_steps_written_in_another_unit_come_back_whole(pair: tuple[Dimension, str, str], steps: int) -> None:
    dimension, *units = pair
    for unit in units:
        written = round(Decimal(steps) / steps_per_unit(dimension, unit), 7)
        sql = steps_sql(number_sql(quoted(str(written)), "."), steps_per_unit(dimension, unit))
        assert duckdb.sql(f"select {sql}").fetchall() == [(steps,)]


@pytest.mark.parametrize(
    ("text", "order", "day"),
    [
        ("2020-04-03", None, dt.date(2020, 4, 3)), ("2020-04-03 10:15:00", None, dt.date(2020, 4, 3)),
        ("13.04.2020", None, dt.date(2020, 4, 13)), ("3.4.20", None, dt.date(2020, 4, 3)),
        ("25/04/20", None, dt.date(2020, 4, 25)), ("04/25/2020", None, dt.date(2020, 4, 25)),
        ("03/04/2020", "month", dt.date(2020, 3, 4)), ("03/04/2020", "day", dt.date(2020, 4, 3)),
        ("20-04-03", "year", dt.date(2020, 4, 3)), ("98-04-03", None, dt.date(1998, 4, 3)),
        ("3 Apr 2020", None, dt.date(2020, 4, 3)), ("2020/04/03", None, dt.date(2020, 4, 3)),
        ("2020.04.03", None, dt.date(2020, 4, 3)), ("2020-02-30", None, None), ("31.04.2020", None, None),
        ("43924", None, None), ("1820-01-01", None, None), ("2120-01-01", None, None), ("soon", None, None),
    ],
)  # fmt: skip
def test_dates(text: str, order: str | None, day: dt.date | None) -> None:
    column = ColumnPlan(Field("x", Kind.DATE, ""), "c0", "x", date_order=order)
    ((value, fault),) = _typed(column, [text])
    assert fault == (None if day else f"'x': expected a date, found '{text}'")
    assert day is None or value == day


def test_a_serial_day_of_a_workbook_is_a_date_where_cells_are_typed() -> None:
    column = ColumnPlan(Field("x", Kind.DATE, ""), "c0", "x")
    assert _typed(column, ["43924", "43924.5"], typed_cells=True) == [(dt.date(2020, 4, 3), None)] * 2


def test_blanks_round_a_text_do_not_count() -> None:
    column = ColumnPlan(Field("x", Kind.TEXT, ""), "c0", "x")
    assert [v for v, _ in _typed(column, [" J1", "J1\u00a0", "J1\t ", "\u00a0", None, "J 1"])] == [
        "J1", "J1", "J1", None, None, "J 1",
    ]  # fmt: skip


def test_yes_and_no_in_many_spellings() -> None:
    column = ColumnPlan(Field("x", Kind.FLAG, ""), "c0", "x")
    assert _typed(column, ["Yes", "N", "x", "-", "maybe"]) == [
        (True, None), (False, None), (True, None), (False, None), (None, "'x': expected yes or no, found 'maybe'"),
    ]  # fmt: skip


def test_a_count_is_whole() -> None:
    column = ColumnPlan(Field("x", Kind.COUNT, "", low=1, high=40), "c0", "x", decimal=".")
    assert _typed(column, ["2", "2.0", "2.5", "0", "41"]) == [
        (2, None), (2, None), (None, "'x': expected a whole number, found '2.5'"),
        (0, "'x': found '0', below the 1 that it can mean"), (41, "'x': found '41', above the 40 that it can mean"),
    ]  # fmt: skip


def test_hours_may_be_written_with_their_minutes() -> None:
    texts = ["1:30", "0:20", "2.5", " 12:05 ", "1:00:30", None]
    assert _typed(_measure(DURATION, "h"), texts) == [
        (90, None), (20, None), (150, None), (725, None), (60, None), (None, None),
    ]  # fmt: skip
    for unit, text in (("h", "1:75"), ("h", "1:5"), ("h", ":30"), ("min", "1:30")):
        [(value, fault)] = _typed(_measure(DURATION, unit), [text])
        assert value is None
        assert fault == f"'x': expected a number, found '{text}'"
    [(value, _)] = _typed(_measure(LENGTH, "mm"), ["1:30"])
    assert value is None


def test_a_unit_of_another_dimension_in_the_plan_is_refused() -> None:
    table = SourceTable(Path("f.csv"), None, "raw_0", ("x",), 1, 0, False, "")
    with pytest.raises(
        LoadError, match=r"f\.csv, column 'x': 'km' is no unit of length; expected one of mm, um, in, thou"
    ):
        check_units_known(SheetPlan(record_named("shim"), table, (_measure(LENGTH, "km"),)))


FAULTS = {
    "jobs more.csv": (
        "job,unit,kind,opened,closed,odometer (km)",
        {
            "J11,U1,reseal,2020-03-10,2020-03-02,1": ("closed", "closed 2020-03-02 lies before opened 2020-03-10"),
            "J12,U1,ful rebuild,2020-03-10,,": ("kind", "'kind': expected one of the words of 'job_kind' (full"),
            "J13,U1,full rebuild,10th of March,,": ("opened", "'opened': expected a date, found '10th of March'"),
            "J14,U1,full rebuild,2020-03-10,,many": ("odometer", "'odometer (km)': expected a number, found 'many'"),
            "J15,U1,full rebuild,2020-03-10,,-5": ("odometer", "'odometer (km)': found '-5', below the 0 km"),
            ",U1,full rebuild,2020-03-10,,": ("job", "'job' is required, but empty"),
            "J16,U9,full rebuild,2020-03-10,,": ("unit", "its unit 'U9' is not on record (yet)"),
        },
    ),
    "findings more.csv": (
        "job,position,grade",
        {
            "J1,2nd rng,1": ("position", "family K4 has no component position '2nd rng'; did you mean '2nd ring'?"),
            "J9,2nd ring,1": ("job", "its job 'J9' is not on record (yet)"),
        },
    ),
    "measurements.csv": (
        "job,quantity,location,stage,value,unit_written",
        {
            "J3,preload torque,,as built,900,N.m": (
                "value", "'value': found 900 N.m, outside the 0 to 15 N.m that preload_torque can mean; "
                "looks like a nut torque",
            ),
            "J3,preload torque,,as built,1.2,mm": ("value", "'value': 'mm' is no unit of preload_torque"),
            "J3,pinion depth,,as built,66.6,furlong": ("value", "'value': 'furlong' is no unit of pinion_depth"),
            "J3,pinion depth,,as built,66.6,": ("value", "'value': no unit is given; give one in the heading"),
            "J3,pinion depth,left sid,as built,66.6,mm": (
                "location", "family A7 has no shim location 'left sid'; did you mean 'left side'?"
            ),
        },
    ),
    "shims.csv": (
        "job,location,stage,thickness (mm)",
        {
            "J1,front,as built,2.5": (
                "thickness", "thickness 2.500 mm cannot sit at front of family K4, which takes 0.100 to 2.000 mm in all"
            ),
            "J3,left side,as built,1.0": ("thickness", "thickness 1.000 mm cannot sit at left side of family A7"),
        },
    ),
    "comebacks.csv": (
        "original_job,reported,comeback_job",
        {
            "J1,2020-03-05,": ("reported", "reported 2020-03-05, before job J1 was handed over on 2020-03-09"),
            "J2,2020-06-01,J2": ("comeback_job", "job J2 cannot be its own comeback"),
        },
    ),
}  # fmt: skip


def test_each_fault_is_found_once_and_said_in_words(tmp_path: Path) -> None:
    shop = CsvWorkshop(tmp_path)
    files = {name: "\n".join([heading, *rows]) for name, (heading, rows) in FAULTS.items()}
    report = shop.load({**BASE, **files})
    assert report.standing["quarantined"] == sum(len(rows) for _, rows in FAULTS.values())
    for name, (_, rows) in FAULTS.items():
        record = next(s.record for s in report.sources if s.file.endswith(name))
        held = shop.held(record)
        for number, (field, sentence) in enumerate(rows.values(), 2):
            what, at, why = held[f"load 1/{name}", number]
            assert (what, at) == ("quarantined", field)
            assert str(why).startswith(sentence), why


def test_the_original_text_and_place_of_a_row_at_fault_are_kept(tmp_path: Path) -> None:
    shop = CsvWorkshop(tmp_path)
    shop.load(
        {**BASE, "labour.csv": 'job,operation,worked (h),my note\nJ1,strip,a lot,see ""card""\nJ9,strip,2,\nJ1,build\n'}
    )
    told = {row: (reason, original) for row, reason, original in shop.ask(
        "select row_number, reason, original from held_labour"
    )}  # fmt: skip
    assert told[2][1] == '{"job":"J1","operation":"strip","worked (h)":"a lot","my note":"see \\"\\"card\\"\\""}'
    assert told[3][1] == '{"job":"J9","operation":"strip","worked (h)":"2","my note":null}'
    assert "J1,build" in told[4][1]
    assert len(told) == 3
