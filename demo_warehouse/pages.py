"""Hold the messy files before they are written: pages of cells, how each is to be read, and its planted defects."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import polars as pl

from demo_warehouse.clean_files import measure_text, reading_text
from ingest.record_model import Field, Kind, RecordType

Cell = str | float | int | date | None
Row = list[Cell]


@dataclass(frozen=True)
class Column:
    """Say under which heading a field stands on a page, in which unit, and in which words of the workshop."""

    heading: str
    field: str
    unit: str | None = None
    words: Mapping[str, str] = dataclasses.field(default_factory=dict)  # our word -> the workshop's


@dataclass(frozen=True)
class Reading:
    """Say how a page is read as one record type; it becomes one `[[sheet]]` entry of the mapping."""

    record: RecordType
    columns: tuple[Column, ...]
    needs: tuple[str, ...] = ()
    fixed: Mapping[str, Any] = dataclasses.field(default_factory=dict)
    habits: tuple[str, ...] = ()


@dataclass
class Page:
    """Hold one sheet, or one file without sheets."""

    file: str
    sheet: str | None
    headings: list[str]
    rows: list[Row]
    readings: list[Reading]
    title: tuple[str, ...] = ()  # lines above the headings
    dates: str = "cell"  # "cell", "iso", or what stands between day, month and year
    file_pattern: str = ""
    sheet_pattern: str | None = None
    options: Mapping[str, Any] = dataclasses.field(default_factory=dict)
    ignored: bool = False

    @property
    def first_row(self) -> int:
        """Return the number of the first row of cells as a person counts it."""
        if self.file.endswith((".json", ".jsonl", ".parquet")):
            return 1
        return len(self.title) + 2

    def row_number(self, row: Row) -> int:
        """Return the number of a row of this page; raises ValueError where it is not on it."""
        for index, one in enumerate(self.rows):
            if one is row:
                return self.first_row + index
        raise ValueError(f"the row is not on {self.file}")

    def at(self, heading: str) -> int:
        """Return the index of a heading."""
        return self.headings.index(heading)

    def heading_of(self, record: str, name: str) -> str:
        """Return the heading of a record's field on this page."""
        reading = next(r for r in self.readings if r.record.name == record)
        return next(c.heading for c in reading.columns if c.field == name)

    def get(self, row: Row, record: str, name: str) -> Cell:
        """Return a row's cell of a record's field."""
        return row[self.at(self.heading_of(record, name))]

    def put(self, row: Row, record: str, name: str, value: Cell) -> None:
        """Set a row's cell of a record's field."""
        row[self.at(self.heading_of(record, name))] = value

    def shown(self, day: date) -> Cell:
        """Return a day as this page writes it."""
        return date_cell(day, self.dates)


def date_cell(day: date | None, style: str) -> Cell:
    """Return a day as a date cell, as ISO text, or as text with a sign between day, month and year."""
    if day is None or style == "cell":
        return day
    if style == "iso":
        return day.isoformat()
    return f"{day.day:02d}{style}{day.month:02d}{style}{day.year}"


def _numbers(texts: Iterable[str | None], decimal: str) -> list[Cell]:
    """Return numbers for typed cells, or texts with the page's decimal sign."""
    if decimal:
        return [None if t is None else t.replace(".", decimal) for t in texts]
    return [None if t is None else int(t) if "." not in t else float(t) for t in texts]


def column_cells(frame: pl.DataFrame, record: RecordType, column: Column, dates: str, decimal: str) -> list[Cell]:
    """Return one column's cells; `decimal` is the decimal sign of a text file, empty where numbers are typed."""
    found: Field = record.field_named(column.field)
    values = frame[found.column]
    if found.dimension is not None:
        return _numbers(measure_text(values, found.dimension, column.unit or found.dimension.written_as), decimal)
    if found.kind is Kind.READING:
        return _numbers(reading_text(frame, found.column), decimal)
    if found.kind is Kind.DATE:
        return [date_cell(day, dates) for day in values]
    if found.kind is Kind.FLAG:
        yes, no = column.words.get("yes", "yes"), column.words.get("no", "no")
        return [None if v is None else yes if v else no for v in values]
    if found.kind is Kind.COUNT:
        return [None if v is None else str(v) if decimal else int(v) for v in values]
    return [None if v is None else column.words.get(str(v), str(v)) for v in values]


def rows_of(
    frame: pl.DataFrame, record: RecordType, columns: Sequence[Column], dates: str = "cell", decimal: str = ""
) -> list[Row]:
    """Return a frame's rows as cells in the order of `columns`."""
    if not columns:
        return [[] for _ in range(frame.height)]
    cells = [column_cells(frame, record, column, dates, decimal) for column in columns]
    return [list(row) for row in zip(*cells, strict=True)]


def simple_page(
    file: str,
    sheet: str | None,
    record: RecordType,
    columns: Sequence[Column],
    frame: pl.DataFrame,
    **more: Any,
) -> Page:
    """Return a page that holds one record type."""
    decimal = more.pop("decimal", "")
    reading = Reading(record, tuple(columns), more.pop("needs", ()), more.pop("fixed", {}), more.pop("habits", ()))
    rows = rows_of(frame, record, columns, more.get("dates", "cell"), decimal)
    return Page(file, sheet, [c.heading for c in columns], rows, [reading], **more)


def template_columns(record: RecordType, without: frozenset[str] = frozenset()) -> list[Column]:
    """Return a record's fields under the template's own headings."""
    return [Column(f.heading, f.name) for f in record.fields if f.name not in without]
