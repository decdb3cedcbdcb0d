"""Read the sheets of a workbook cell by cell, numbers exact and dates as ISO text."""

from __future__ import annotations

import re
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from datetime import date, datetime, time, timedelta
from pathlib import Path
from xml.etree import ElementTree

import duckdb
import python_calamine

from ingest.heading_text import HeadingsKnown, find_heading_row
from ingest.mapping import ReadingOptions, WorkshopMapping
from ingest.plan import LoadError, SourceTable
from ingest.raw_table import filled, number_text, store_rows

WORKBOOK_SUFFIXES = (".xlsx", ".xlsm")
TEMPLATE_GUIDE = "How to fill in"
TEMPLATE_WORDS = "Words"
TEMPLATE_REFERENCE = "Field reference"
TEMPLATE_MARK = "Job records workbook"  # stands in the guide's first cell
_ROWS_LOOKED_AT = 60
_ERROR_CELL = re.compile(r'<(?:\w+:)?c\b([^>]*\bt="e"[^>]*)>(.*?)</(?:\w+:)?c>', re.DOTALL)
_REFERENCE = re.compile(r'\br="([A-Z]+)(\d+)"')
_VALUE = re.compile(r"<(?:\w+:)?v>(.*?)</(?:\w+:)?v>", re.DOTALL)
_OLD_FORMAT = bytes.fromhex("D0CF11E0A1B11AE1")

Cell = bool | float | int | str | datetime | date | time | timedelta


def read_workbook(
    connection: duckdb.DuckDBPyConnection, path: Path, mapping: WorkshopMapping | None, known: HeadingsKnown
) -> list[SourceTable]:
    """Read every sheet of a workbook that holds anything and that the mapping does not ignore.

    Hidden rows and sheets are read like others. The guide, word list and field reference of our own template are
    passed over. Raises LoadError where the file is no workbook, is protected by a password, cut short or locked.
    """
    tables = []
    with _opened(path) as workbook:
        ours = _is_our_template(workbook)
        for sheet in workbook.sheet_names:
            if ours and sheet in (TEMPLATE_GUIDE, TEMPLATE_WORDS, TEMPLATE_REFERENCE):
                continue
            if mapping is not None and mapping.ignores(path, sheet):
                continue
            rows = _rows_of(path, workbook, sheet)
            if any(cell for row in rows for cell in row):
                options = mapping.reading_options(path, sheet) if mapping else ReadingOptions()
                tables.append(_read_sheet(connection, path, sheet, rows, options, known(path, sheet)))
    return tables


def _read_sheet(
    connection: duckdb.DuckDBPyConnection,
    path: Path,
    sheet: str,
    rows: list[list[str | None]],
    options: ReadingOptions,
    known: Sequence[frozenset[str]],
) -> SourceTable:
    if options.heading_row is None:
        index, _ = find_heading_row(rows[:_ROWS_LOOKED_AT], known)
    elif options.heading_row <= len(rows):
        index = options.heading_row - 1
    else:
        raise LoadError(
            f"{path.name}, sheet '{sheet}': the mapping's heading_row = {options.heading_row} lies below "
            f"the last row, {len(rows)}"
        )
    numbered: Iterator[tuple[int, Sequence[str | None]]] = (
        (number, row) for number, row in enumerate(rows[index + 1 :], index + 2)
    )
    return store_rows(connection, path, sheet, index + 1, rows[index], numbered, typed_cells=True)


def _opened(path: Path) -> python_calamine.CalamineWorkbook:
    """Open a workbook; raises LoadError with a sentence that tells what is wrong with it."""
    try:
        with path.open("rb") as file:
            head = file.read(8)
            rest = file.read(4_000_000) if head == _OLD_FORMAT else b""
    except OSError as error:
        raise LoadError(
            f"{path.name}: cannot be opened: {error.strerror or error}; is it locked by another program?"
        ) from error
    if not head:
        raise LoadError(f"{path.name}: the file is empty")
    if head == _OLD_FORMAT:
        if "EncryptedPackage".encode("utf-16-le") in rest:
            raise LoadError(f"{path.name}: is protected by a password; save it without one")
        raise LoadError(f"{path.name}: is a workbook of an older format; save it as .xlsx")
    if not head.startswith(b"PK"):
        raise LoadError(f"{path.name}: expected a workbook, found another kind of file; is its ending right?")
    try:
        return python_calamine.CalamineWorkbook.from_path(str(path))
    except python_calamine.PasswordError as error:
        raise LoadError(f"{path.name}: is protected by a password; save it without one") from error
    except python_calamine.CalamineError as error:
        cut_short = not zipfile.is_zipfile(path)
        fault = "the workbook is cut short or damaged" if cut_short else "the archive holds no readable workbook"
        raise LoadError(f"{path.name}: {fault}; save or copy it again") from error


def _is_our_template(workbook: python_calamine.CalamineWorkbook) -> bool:
    if TEMPLATE_GUIDE not in workbook.sheet_names:
        return False
    first = workbook.get_sheet_by_name(TEMPLATE_GUIDE).to_python(nrows=1)
    return bool(first and first[0] and first[0][0] == TEMPLATE_MARK)


def _rows_of(path: Path, workbook: python_calamine.CalamineWorkbook, sheet: str) -> list[list[str | None]]:
    """Return a sheet's cells as text, all rows equally wide, from the sheet's first row and column on."""
    try:
        cells = workbook.get_sheet_by_name(sheet).to_python(skip_empty_area=False)
    except python_calamine.CalamineError as error:
        raise LoadError(f"{path.name}, sheet '{sheet}': cannot be read: {error}") from error
    rows = [[cell_text(cell) for cell in row] for row in cells]
    try:
        errors = error_cells(path, sheet)
    except (ElementTree.ParseError, zipfile.BadZipFile, zlib.error, KeyError) as error:
        raise LoadError(f"{path.name}, sheet '{sheet}': the workbook is damaged: {error}; save it again") from error
    for row, column, text in errors:
        while len(rows) <= row:
            rows.append([])
        rows[row] += [None] * (column + 1 - len(rows[row]))
        rows[row][column] = text
    width = max((len(row) for row in rows), default=0)
    return [row + [None] * (width - len(row)) for row in rows]


def cell_text(cell: Cell) -> str | None:
    """Return a cell as text: numbers with a point, dates as ISO, a time of day or length of time as h:mm."""
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, int | float):
        return number_text(cell)
    if isinstance(cell, datetime):
        return cell.date().isoformat() if cell.time() == time() else cell.isoformat(" ", "seconds")
    if isinstance(cell, date):
        return cell.isoformat()
    if isinstance(cell, time):
        cell = timedelta(hours=cell.hour, minutes=cell.minute, seconds=cell.second)
    if isinstance(cell, timedelta):
        minutes, seconds = divmod(round(cell.total_seconds()), 60)
        return f"{minutes // 60}:{minutes % 60:02d}" + (f":{seconds:02d}" if seconds else "")
    return filled(cell.replace("\r\n", "\n"))


def error_cells(path: Path, sheet: str) -> list[tuple[int, int, str]]:
    """Return (row, column, text) of cells that hold an error such as #N/A, counted from 0.

    The reader gives them as blank, so they are taken from the sheet's XML.
    """
    with zipfile.ZipFile(path) as archive:
        part = _part_of(archive, sheet)
        if part is None:
            return []
        text = archive.read(part)
    if b't="e"' not in text:
        return []
    found = []
    for attributes, inner in _ERROR_CELL.findall(text.decode("utf-8", "replace")):
        reference, value = _REFERENCE.search(attributes), _VALUE.search(inner)
        if reference and value:
            found.append((int(reference[2]) - 1, _column_index(reference[1]), value[1]))
    return found


def _part_of(archive: zipfile.ZipFile, sheet: str) -> str | None:
    """Return the name of the archive's part that holds a sheet's cells."""
    names = set(archive.namelist())
    if not {"xl/workbook.xml", "xl/_rels/workbook.xml.rels"} <= names:
        return None
    targets = {
        relation.get("Id"): relation.get("Target", "")
        for relation in ElementTree.fromstring(archive.read("xl/_rels/workbook.xml.rels"))
    }
    for element in ElementTree.fromstring(archive.read("xl/workbook.xml")).iter():
        if element.tag.endswith("}sheet") and element.get("name") == sheet:
            target = next((targets.get(v) for k, v in element.attrib.items() if k.endswith("}id")), None)
            part = target.lstrip("/") if target and target.startswith("/") else f"xl/{target}"
            return part if part in names else None
    return None


def _column_index(letters: str) -> int:
    index = 0
    for letter in letters:
        index = index * 26 + ord(letter) - 64
    return index - 1
