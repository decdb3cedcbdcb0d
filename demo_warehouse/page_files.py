"""Write pages as workbooks, CSV, JSON, JSON lines and Parquet, the same bytes each time."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from datetime import date, datetime
from itertools import groupby
from pathlib import Path
from typing import Any

import polars as pl
import xlsxwriter

from demo_warehouse.pages import Cell, Page

WRITTEN_ON = datetime(2026, 9, 30)


def write_pages(pages: Sequence[Page], out: Path) -> dict[str, int]:
    """Write every page's file into `out`; return the rows written by file name."""
    out.mkdir(parents=True, exist_ok=True)
    counts: dict[str, int] = {}
    for file, group in groupby(sorted(pages, key=lambda page: page.file), key=lambda page: page.file):
        of_file = list(group)
        counts[file] = sum(len(page.rows) for page in of_file)
        path = out / file
        if file.endswith(".xlsx"):
            _workbook(of_file, path)
        elif file.endswith(".csv"):
            _csv(of_file[0], path)
        elif file.endswith(".parquet"):
            _parquet(of_file[0], path)
        else:
            _json(of_file[0], path)
    return counts


def _workbook(pages: list[Page], path: Path) -> None:
    with xlsxwriter.Workbook(str(path), {"default_date_format": "dd.mm.yyyy", "strings_to_numbers": False}) as book:
        book.set_properties({"created": WRITTEN_ON})
        bold = book.add_format({"bold": True})
        for page in pages:
            sheet = book.add_worksheet(page.sheet)
            for number, line in enumerate(page.title):
                if line:
                    sheet.merge_range(number, 0, number, min(4, len(page.headings) - 1), line, bold)
            top = len(page.title)
            sheet.write_row(top, 0, page.headings, bold)
            for number, row in enumerate(page.rows, top + 1):
                for column, cell in enumerate(row):
                    _write_cell(sheet, number, column, cell)


def _write_cell(sheet: Any, row: int, column: int, cell: Cell) -> None:
    if cell is None:
        return
    if isinstance(cell, str):
        sheet.write_string(row, column, cell)
    elif isinstance(cell, date):
        sheet.write_datetime(row, column, cell)
    else:
        sheet.write_number(row, column, cell)


def _csv(page: Page, path: Path) -> None:
    text = io.StringIO()
    writer = csv.writer(text, delimiter=page.options.get("delimiter", ","), lineterminator="\r\n")
    writer.writerow(page.headings)
    writer.writerows(["" if cell is None else cell for cell in row] for row in page.rows)
    path.write_bytes(text.getvalue().encode(page.options.get("encoding", "utf-8")))


def _object(headings: list[str], row: list[Cell]) -> dict[str, Any]:
    """Return one row as an object; a heading such as `unit.tag` becomes an object within."""
    made: dict[str, Any] = {}
    for heading, cell in zip(headings, row, strict=True):
        if cell is None:
            continue
        *above, name = heading.split(".")
        place = made
        for key in above:
            place = place.setdefault(key, {})
        place[name] = cell.isoformat() if isinstance(cell, date) else cell
    return made


def _json(page: Page, path: Path) -> None:
    lines = [
        row[0]
        if len(row) == 1 and isinstance(row[0], str)
        else json.dumps(_object(page.headings, row), ensure_ascii=False)
        for row in page.rows
    ]
    if page.file.endswith(".jsonl"):
        text = "\n".join(lines)
    else:
        text = "[\n" + ",\n".join(lines) + "\n]"
        text = f'{{"{page.sheet}": {text}}}' if page.sheet else text
    path.write_text(text + "\n", encoding="utf-8")


def _parquet(page: Page, path: Path) -> None:
    columns = {heading: [row[i] for row in page.rows] for i, heading in enumerate(page.headings)}
    typed = {
        heading: [float(v) if isinstance(v, int | float) else None for v in values]
        if any(isinstance(v, float) for v in values)
        else values
        for heading, values in columns.items()
    }
    pl.DataFrame(typed, strict=True).write_parquet(path)
