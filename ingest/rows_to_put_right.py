"""Write the rows to put right as a workbook that loads again once it is corrected."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import polars as pl
import xlsxwriter

from ingest.heading_text import fold_heading, fold_word
from ingest.mapping import SheetMapping, WorkshopMapping
from ingest.match_headings import AS_FOUND, CORRECTS, PLACE_HEADINGS, understand
from ingest.plan import LoadError
from ingest.record_model import Field, Kind, RecordType
from ingest.records import RECORDS, record_named
from ingest.template_workbook import (
    WorkbookStyles,
    close_workbook,
    open_workbook,
    sheet_name,
    write_record_sheet,
)  # fmt: skip

COLUMNS = ("record", "reference", "file", "sheet", "row_number", "field", "reason", "original")
_NUMBERS = (Kind.MEASURE, Kind.READING, Kind.COUNT)
_ADDED = (CORRECTS, *PLACE_HEADINGS)


@dataclass
class _Sheet:
    """Collect rows of one record type that have their fields in the same units."""

    record: RecordType
    units: dict[str, str]  # field name -> unit, where it is not the template's
    others: dict[str, None] = field(default_factory=dict)  # headings that name no field of ours
    rows: list[dict[str, str]] = field(default_factory=list)

    def headings(self) -> list[tuple[str, Field | None]]:
        """Return the sheet's headings in order, with their fields."""
        named: dict[str, Field | None] = {self.heading_of(one): one for one in self.record.fields}
        return list((dict.fromkeys(_ADDED) | named | dict.fromkeys(self.others)).items())

    def heading_of(self, one: Field) -> str:
        return f"{one.name} ({self.units[one.name]})" if one.name in self.units else one.heading


@dataclass(frozen=True)
class _Row:
    """Hold a row's texts by field, the units in which some are written, and the texts that name no field."""

    texts: dict[str, str]
    units: dict[str, str]
    others: dict[str, str]


def write_rows_to_put_right(rows: pl.DataFrame, path: Path, mapping: WorkshopMapping | None = None) -> None:
    """Write rows to put right to a workbook, one sheet a record type, or more where rows keep different units.

    `rows` has the columns record, reference, file, sheet, row_number, field, reason and original (a JSON object:
    heading -> text). Each row gets `corrects` (its reference), file, sheet, row and reason, then the template's
    headings; texts whose heading names no field of ours keep it. `mapping` tells what a workshop's headings and
    words mean. Raises LoadError where a column is missing or the file cannot be written.
    """
    missing = [column for column in COLUMNS if column not in rows.columns]
    if missing:
        raise LoadError(f"the rows to put right lack the column '{missing[0]}'; found {', '.join(rows.columns)}")
    sheets = _collected(rows, mapping)
    workbook, styles = open_workbook(path)
    for record in RECORDS:
        for number, sheet in enumerate((one for one in sheets if one.record is record), 1):
            _write_sheet(workbook, styles, sheet, sheet_name(record) + ("" if number == 1 else f" {number}"))
    if not sheets:
        workbook.add_worksheet("nothing to put right")
    close_workbook(workbook, path)


def _collected(rows: pl.DataFrame, mapping: WorkshopMapping | None) -> list[_Sheet]:
    sheets: dict[tuple[str, tuple[tuple[str, str], ...]], _Sheet] = {}
    for row in rows.sort("record", "file", "sheet", "row_number", "reference").iter_rows(named=True):
        record = record_named(row["record"])
        read = _read_original(row, record, mapping)
        key = record.name, tuple(sorted(read.units.items()))
        sheet = sheets.setdefault(key, _Sheet(record, read.units))
        cells = dict(zip(_ADDED, _place_of(row), strict=True))
        cells |= {sheet.heading_of(record.field_named(name)): text for name, text in read.texts.items()}
        sheet.others.update(dict.fromkeys(read.others))
        sheet.rows.append(cells | read.others)
    return list(sheets.values())


def _place_of(row: Mapping[str, Any]) -> tuple[str, str, str, str, str]:
    reason = str(row["reason"] or "")
    number = "" if row["row_number"] is None else str(row["row_number"])
    return str(row["reference"] or ""), str(row["file"] or ""), str(row["sheet"] or ""), number, reason


def _read_original(row: Mapping[str, Any], record: RecordType, mapping: WorkshopMapping | None) -> _Row:
    """Return a row's original texts under our fields, as far as their headings are understood."""
    original = json.loads(row["original"] or "{}")
    entry = _entry_of(row, record, mapping)
    made = _Row({}, {}, {})
    if set(original) == {"row"}:
        made.others[AS_FOUND] = str(original["row"])
        return made
    put_right_before = any(fold_heading(heading) == CORRECTS for heading in original)
    for heading, text in original.items():
        ours = fold_heading(heading) in _ADDED
        if text is None or (ours and put_right_before):
            continue
        found = _field_of(heading, record, entry)
        if found is None or found[0].name in made.texts:
            made.others[f"{heading} (as found)" if ours else heading] = str(text)
            continue
        one, unit = found
        made.texts[one.name] = _our_word(one, _unmistakable(one, str(text), row.get("style")), entry)
        if unit is not None and (one.dimension is None or unit != one.dimension.written_as):
            made.units[one.name] = unit
    for fixed in entry.fixed if entry else ():
        made.texts.setdefault(fixed.field.name, fixed.text)
    _unit_of_readings(record, made)
    return made


def _unit_of_readings(record: RecordType, row: _Row) -> None:
    """Write the unit of a row's readings into `unit_written` where they share one, as the template has it."""
    readings = [one.name for one in record.fields if one.kind is Kind.READING and one.name in row.texts]
    units = {row.units.get(name) for name in readings}
    if len(units) == 1 and None not in units and "unit_written" not in row.texts:
        row.texts["unit_written"] = row.units[readings[0]]
        for name in readings:
            del row.units[name]


def _entry_of(row: Mapping[str, Any], record: RecordType, mapping: WorkshopMapping | None) -> SheetMapping | None:
    entries = mapping.entries_for(Path(row["file"] or ""), row["sheet"] or None) if mapping else ()
    return next((entry for entry in entries if entry.record is record), None)


def _field_of(heading: str, record: RecordType, entry: SheetMapping | None) -> tuple[Field, str | None] | None:
    """Return the field and unit that a heading means, the mapping's word before our own."""
    for column in entry.columns if entry else ():
        if fold_heading(column.heading) == fold_heading(heading):
            return (column.field, column.unit) if column.field else None
    return understand(record, heading)


def _unmistakable(one: Field, text: str, style: str | None) -> str:
    """Return a number with a decimal point and a date year first, as far as the sheet's own style tells them."""
    told = json.loads(style) if style else {}
    mark, order = told.get("decimal", {}).get(one.name), told.get("date_order", {}).get(one.name)
    if mark is not None and one.kind in (Kind.MEASURE, Kind.READING, Kind.COUNT):
        other = "," if mark == "." else "."
        plain = text.replace(" ", "").replace(other, "").replace(mark, ".")
        return plain if re.fullmatch(r"[-+]?\d+(\.\d+)?", plain) and _grouped(text, other, mark) else text
    found = re.fullmatch(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4})", text.strip()) if order in ("day", "month") else None
    if one.kind is Kind.DATE and found:
        day, month = (found[1], found[3]) if order == "day" else (found[3], found[1])
        return f"{found[4]}-{int(month):02d}-{int(day):02d}" if 1 <= int(month) <= 12 else text
    return text


def _grouped(text: str, other: str, mark: str) -> bool:
    """Return whether thousands marks, where there are any, stand between groups of three digits."""
    whole = text.strip().split(mark)[0]
    return other not in whole or re.fullmatch(rf"[-+]?\d{{1,3}}(\{other}\d{{3}})+", whole) is not None


def _our_word(one: Field, text: str, entry: SheetMapping | None) -> str:
    return entry.words.get(one.name, {}).get(fold_word(text), text) if entry else text


def _write_sheet(workbook: xlsxwriter.Workbook, styles: WorkbookStyles, sheet: _Sheet, name: str) -> None:
    page = workbook.add_worksheet(name)
    headings = sheet.headings()
    write_record_sheet(page, styles, headings, lists=False)
    for number, cells in enumerate(sheet.rows, 1):
        for column, (heading, one) in enumerate(headings):
            text = cells.get(heading)
            if text and one is not None and one.kind in _NUMBERS and re.fullmatch(r"[-+]?\d+(\.\d+)?", text):
                page.write_number(number, column, float(text), styles.plain)
            elif text:
                page.write_string(number, column, text, styles.plain if one is None else styles.text)
