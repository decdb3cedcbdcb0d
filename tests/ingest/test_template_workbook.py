"""The workbook to fill in loads untouched with nothing in it, and comes back as it was filled in."""

from __future__ import annotations

import zipfile
from datetime import date
from pathlib import Path

import duckdb
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ingest.match_headings import plan_sheets
from ingest.plan import LoadError
from ingest.raw_table import filled, number_text
from ingest.read_folder import read_sources
from ingest.record_model import Field, Kind, RecordType
from ingest.records import RECORDS
from ingest.template_workbook import (
    close_workbook,
    explained,
    open_workbook,
    range_text,
    sheet_name,
    write_record_sheet,
    write_template,
)  # fmt: skip
from ingest.vocabularies import vocabulary_named


@pytest.fixture(name="template", scope="module")
def _template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("template") / "out.xlsx"
    write_template(path)
    return path


def test_an_untouched_workbook_holds_every_record_type_and_no_row(template: Path) -> None:
    tables = read_sources(duckdb.connect(), [template], None)
    plans = plan_sheets(tables, None)
    assert [plan.record for plan in plans] == list(RECORDS)
    assert sum(table.rows for table in tables) == 0
    for plan in plans:
        assert [column.field for column in plan.columns] == list(plan.record.fields)
        assert plan.unused_headings == ()
        assert not plan.table.refused


def test_every_word_of_a_vocabulary_can_be_picked(template: Path) -> None:
    with zipfile.ZipFile(template) as archive:
        sheets = [archive.read(f"xl/worksheets/sheet{number + 2}.xml").decode() for number in range(len(RECORDS))]
        assert sum(name.startswith("xl/comments") for name in archive.namelist()) == len(RECORDS)
    for record, text in zip(RECORDS, sheets, strict=True):
        picked = sum(1 for field in record.fields if field.kind in (Kind.WORD, Kind.FLAG))
        assert text.count("<dataValidation ") == picked
        assert 'state="frozen"' in text


def test_an_existing_workbook_is_never_written_over(template: Path) -> None:
    before = template.read_bytes()
    with pytest.raises(LoadError, match="exists already and is left as it is"):
        write_template(template)
    assert template.read_bytes() == before


def test_a_place_that_cannot_be_written(tmp_path: Path) -> None:
    with pytest.raises(LoadError, match="cannot be written"):
        write_template(tmp_path / "no such folder" / "out.xlsx")
    with pytest.raises(LoadError, match=r"expected a name that ends in \.xlsx"):
        write_template(tmp_path / "out.csv")


def test_what_a_heading_explains() -> None:
    finding = next(record for record in RECORDS if record.name == "finding")
    gap = finding.field_named("ring_gap")
    assert explained(gap) == "measured gap between ring and cone; unit: mm; from 0 to 5"
    assert "has to be filled in" in explained(finding.field_named("job"))
    assert range_text(finding.field_named("job")) == ""


def cells_of(field: Field) -> st.SearchStrategy[object]:
    """Draw what a person may type into a cell of the field, now and then nothing."""
    if field.vocabulary:
        typed: st.SearchStrategy[object] = st.sampled_from(vocabulary_named(field.vocabulary).codes())
    elif field.kind is Kind.DATE:
        typed = st.dates(date(1950, 1, 1), date(2099, 12, 31))
    elif field.kind is Kind.FLAG:
        typed = st.booleans()
    elif field.kind in (Kind.COUNT,):
        typed = st.integers(-1000, 10**6)
    elif field.kind in (Kind.MEASURE, Kind.READING):
        typed = st.decimals(-(10**6), 10**6, places=3, allow_nan=False)
    else:
        typed = st.text(st.characters(codec="utf-8", categories=("L", "N", "P", "Zs")), min_size=1, max_size=12)
    return st.none() | typed


def as_read(value: object) -> str | None:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, date):
        return value.isoformat()
    if value is None or isinstance(value, str):
        return filled(value)
    return number_text(value)  # type: ignore[arg-type]


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(st.data(), st.sampled_from(RECORDS))
def test_what_is_filled_in_comes_back(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject, record: RecordType
) -> None:
    rows = data.draw(st.lists(st.tuples(*(cells_of(field) for field in record.fields)), max_size=4))
    path = tmp_path_factory.mktemp("filled") / "filled.xlsx"
    workbook, styles = open_workbook(path)
    sheet = workbook.add_worksheet(sheet_name(record))
    write_record_sheet(sheet, styles, [(field.heading, field) for field in record.fields], lists=True)
    for number, row in enumerate(rows, 1):
        for column, value in enumerate(row):
            if isinstance(value, str):
                sheet.write_string(number, column, value)
            elif isinstance(value, date):
                sheet.write_datetime(number, column, value, styles.date)
            elif value is not None:
                sheet.write(number, column, value)
    close_workbook(workbook, path)
    connection = duckdb.connect()
    [plan] = plan_sheets(read_sources(connection, [path], None), None)
    assert plan.record is record
    found = connection.sql(f"from {plan.table.raw_table}").fetchall()
    expected = [(number, *(as_read(value) for value in row)) for number, row in enumerate(rows, 2)]
    assert found == [row for row in expected if any(row[1:])]
