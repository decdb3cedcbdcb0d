"""Workbooks are read cell by cell: numbers exact, dates as ISO text, errors kept, faults of the file named."""

from __future__ import annotations

import zipfile
from collections.abc import Callable
from datetime import date, datetime, time, timedelta
from pathlib import Path

import duckdb
import pytest
import xlsxwriter
from xlsxwriter.worksheet import Worksheet

from ingest.heading_text import known_headings
from ingest.mapping import read_mapping
from ingest.plan import LoadError, SourceTable
from ingest.read_workbook import cell_text, error_cells, read_workbook
from ingest.records import RECORDS

Fill = Callable[[Worksheet, dict[str, object]], None]
KNOWN = [known_headings(record) for record in RECORDS]
Rows = list[tuple[object, ...]]


def written(path: Path, **sheets: Fill) -> Path:
    workbook = xlsxwriter.Workbook(str(path))
    formats: dict[str, object] = {
        "date": workbook.add_format({"num_format": "yyyy-mm-dd"}),
        "length of time": workbook.add_format({"num_format": "[h]:mm"}),
    }
    for name, fill in sheets.items():
        fill(workbook.add_worksheet(name), formats)
    workbook.close()
    return path


def read(path: Path, mapping: str | None = None) -> list[tuple[SourceTable, Rows]]:
    said = None
    if mapping is not None:
        path.with_suffix(".toml").write_text(mapping)
        said = read_mapping(path.with_suffix(".toml"))
    connection = duckdb.connect()
    tables = read_workbook(connection, path, said, lambda file, sheet: KNOWN)
    return [(table, connection.sql(f"from {table.raw_table}").fetchall()) for table in tables]


def findings(sheet: Worksheet, formats: dict[str, object]) -> None:
    sheet.merge_range(0, 0, 0, 3, "Findings of the year")
    sheet.write_row(3, 1, ["Job", "Position", "End float (mm)", "Entered"])
    sheet.write_row(4, 1, ["007", "ring", 0.1 + 0.2])
    sheet.write_datetime(4, 4, datetime(2020, 1, 2), formats["date"])
    sheet.write_row(6, 1, [12, "hub", 12.0, "2.1.2020"])
    sheet.write_formula(7, 1, "=NA()", None, "#N/A")
    sheet.write(7, 2, True)
    sheet.set_row(6, None, None, {"hidden": True})


def test_titles_blank_and_hidden_rows_numbers_dates_and_errors(tmp_path: Path) -> None:
    [(table, rows)] = read(written(tmp_path / "book.xlsx", Findings=findings, Empty=lambda sheet, formats: None))
    assert table.headings == ("Job", "Position", "End float (mm)", "Entered")
    assert (table.sheet, table.heading_row, table.rows, table.typed_cells) == ("Findings", 4, 3, True)
    assert rows == [
        (5, "007", "ring", "0.3", "2020-01-02"),
        (7, "12", "hub", "12", "2.1.2020"),
        (8, "#N/A", "true", None, None),
    ]


def test_cells_that_hold_errors_are_read_from_the_sheet_itself(tmp_path: Path) -> None:
    path = written(tmp_path / "book.xlsx", Findings=findings)
    assert error_cells(path, "Findings") == [(7, 1, "#N/A")]
    assert error_cells(path, "Nowhere") == []


@pytest.mark.parametrize(
    ("cell", "text"),
    [
        (date(2021, 3, 4), "2021-03-04"),
        (datetime(2021, 3, 4), "2021-03-04"),
        (datetime(2021, 3, 4, 5, 6, 7), "2021-03-04 05:06:07"),
        (timedelta(hours=30, minutes=5), "30:05"),
        (time(6, 30), "6:30"),
        (True, "true"),
        (3.0, "3"),
        ("  ", None),
        (" a ", " a "),
    ],
)
def test_cell_text(cell: object, text: str | None) -> None:
    assert cell_text(cell) == text  # type: ignore[arg-type]


def test_a_date_that_lost_its_format_comes_as_its_serial_number(tmp_path: Path) -> None:
    # ECMA-376 part 1, 18.17.4.1: in the 1900 date system serial 43831 is 1 January 2020.
    def fill(sheet: Worksheet, formats: dict[str, object]) -> None:
        sheet.write_row(0, 0, ["job", "opened", "closed"])
        sheet.write_row(1, 0, ["J1", 43831])
        sheet.write_number(1, 2, 43831, formats["date"])

    [(_, rows)] = read(written(tmp_path / "book.xlsx", jobs=fill))
    assert rows == [(2, "J1", "43831", "2020-01-01")]


def test_declared_heading_row_and_ignored_sheets(tmp_path: Path) -> None:
    def fill(sheet: Worksheet, formats: dict[str, object]) -> None:
        sheet.write_column(0, 0, ["job", "Auftrag", "A1"])

    path = written(tmp_path / "book.xlsx", jobs=fill, notes=fill)
    mapping = '[[sheet]]\nsheet="notes"\nignore=true\n[[sheet]]\nsheet="jobs"\nrecord="job"\nheading_row={}\n'
    [(table, rows)] = read(path, mapping.format(2))
    assert (table.headings, rows) == (("Auftrag",), [(3, "A1")])
    with pytest.raises(LoadError, match="heading_row = 9 lies below the last row, 3"):
        read(path, mapping.format(9))


def test_a_second_heading_of_the_same_name_is_told_apart(tmp_path: Path) -> None:
    def fill(sheet: Worksheet, formats: dict[str, object]) -> None:
        sheet.write_row(0, 0, ["job", "found", "found"])
        sheet.write_row(1, 0, ["J1", 1, 2])

    [(table, _)] = read(written(tmp_path / "book.xlsx", jobs=fill))
    assert table.headings == ("job", "found", "found#2")


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"", "the file is empty"),
        (b"job,position\nJ1,a\n", "expected a workbook, found another kind of file"),
        (bytes.fromhex("D0CF11E0A1B11AE1") + b"\0" * 600, "a workbook of an older format; save it as .xlsx"),
        (
            bytes.fromhex("D0CF11E0A1B11AE1") + b"\0" * 600 + "EncryptedPackage".encode("utf-16-le"),
            "is protected by a password",
        ),
        (b"PK\x03\x04" + b"\0" * 100, "cut short or damaged"),
    ],
)
def test_files_that_are_no_workbook(tmp_path: Path, data: bytes, sentence: str) -> None:
    path = tmp_path / "book.xlsx"
    path.write_bytes(data)
    with pytest.raises(LoadError, match=sentence) as raised:
        read(path)
    assert str(raised.value).startswith("book.xlsx: ")


@pytest.mark.parametrize("share", [0.2, 0.5, 0.9, 0.99])
def test_a_workbook_cut_short(tmp_path: Path, share: float) -> None:
    path = written(tmp_path / "book.xlsx", Findings=findings)
    data = path.read_bytes()
    path.write_bytes(data[: int(len(data) * share)])
    with pytest.raises(LoadError, match="cut short or damaged"):
        read(path)


def test_an_archive_that_is_no_workbook(tmp_path: Path) -> None:

    path = tmp_path / "book.xlsx"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("letter.txt", "hello")
    with pytest.raises(LoadError, match="the archive holds no readable workbook"):
        read(path)


def test_a_locked_workbook(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = written(tmp_path / "book.xlsx", Findings=findings)

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(LoadError, match=r"book\.xlsx: cannot be opened: Permission denied; is it locked"):
        read(path)


def test_a_workbook_with_a_damaged_part(tmp_path: Path) -> None:
    path = written(tmp_path / "book.xlsx", Findings=findings)
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    for name in ("xl/workbook.xml", "xl/worksheets/sheet1.xml", "xl/_rels/workbook.xml.rels"):
        with zipfile.ZipFile(path, "w") as archive:
            for part, data in parts.items():
                archive.writestr(part, data[: len(data) // 2] + b"<&" if part == name else data)
        with pytest.raises(LoadError, match=r"damaged|cannot be read|no readable workbook"):
            read(path)
