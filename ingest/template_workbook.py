"""Write the workbook to fill in: one sheet a record type, from the declarations."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import xlsxwriter
from xlsxwriter.format import Format
from xlsxwriter.utility import xl_range_abs
from xlsxwriter.worksheet import Worksheet

from ingest.plan import LoadError
from ingest.read_workbook import TEMPLATE_GUIDE, TEMPLATE_MARK, TEMPLATE_REFERENCE, TEMPLATE_WORDS
from ingest.record_model import Field, Kind, RecordType
from ingest.records import RECORDS
from ingest.vocabularies import VOCABULARIES, vocabulary_named

_LAST_ROW = 20_000  # rows that get drop-downs and formats
_WORKBOOK_OPTIONS = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
_GUIDE = (
    "One sheet holds one kind of record. Fill in the sheets you keep and leave the others empty.",
    "Start with 'families', 'units' and 'jobs'; then whatever else you have: findings, readings, shims, part lines.",
    "Dark headings have to be filled in every row. Rest the pointer on a heading to see what belongs there.",
    "The unit stands in the heading. If you keep another one, write it there, such as 'odometer (mi)'.",
    "Readings such as 'value' have their unit in the column 'unit_written', row by row.",
    "Cells with a list take a word from the sheet 'Words'.",
    "Write dates as dates, or as 2024-03-31. Amounts are net of sales tax, in one currency.",
    "A finding is every position that was inspected, also when nothing was wrong: sound ones count too.",
    "The same job number, unit or part number has to be written alike on every sheet.",
    "Rows may be in any order. Load the workbook as often as you like: what is on record already changes nothing.",
    "To put a row right, correct it, write the day in 'entered' and load again.",
    "Columns may be left out or moved, but not renamed. Sheets may be left out, but not renamed.",
)


@dataclass(frozen=True)
class WorkbookStyles:
    """Hold the cell formats that the workbook's sheets share."""

    required: Format
    optional: Format
    added: Format
    date: Format
    text: Format
    plain: Format
    title: Format
    wrapped: Format


def write_template(path: Path) -> None:
    """Write the workbook to fill in.

    Raises LoadError where the file exists already (it may be filled in) or cannot be written.
    """
    if path.exists():
        raise LoadError(f"{path}: exists already and is left as it is; name a new file")
    if path.suffix.lower() != ".xlsx":
        raise LoadError(f"{path.name}: expected a name that ends in .xlsx")
    workbook, styles = open_workbook(path)
    _write_guide(workbook.add_worksheet(TEMPLATE_GUIDE), styles)
    for record in RECORDS:
        sheet = workbook.add_worksheet(sheet_name(record))
        headings = [(field.heading, field) for field in record.fields]
        write_record_sheet(sheet, styles, headings, lists=True)
    _write_words(workbook.add_worksheet(TEMPLATE_WORDS), styles)
    _write_reference(workbook.add_worksheet(TEMPLATE_REFERENCE), styles)
    close_workbook(workbook, path)


def open_workbook(path: Path) -> tuple[xlsxwriter.Workbook, WorkbookStyles]:
    """Return a new workbook, in which every text stays a text, and its styles."""
    workbook = xlsxwriter.Workbook(str(path), _WORKBOOK_OPTIONS)
    heading = {"bold": True, "border": 1, "valign": "top"}
    return workbook, WorkbookStyles(
        required=workbook.add_format({**heading, "bg_color": "#2F4858", "font_color": "#FFFFFF"}),
        optional=workbook.add_format({**heading, "bg_color": "#DCE3E8"}),
        added=workbook.add_format({**heading, "bg_color": "#F2E6C9"}),
        date=workbook.add_format({"num_format": "yyyy-mm-dd"}),
        text=workbook.add_format({"num_format": "@"}),
        plain=workbook.add_format(),
        title=workbook.add_format({"bold": True, "font_size": 16}),
        wrapped=workbook.add_format({"text_wrap": True, "valign": "top"}),
    )


def close_workbook(workbook: xlsxwriter.Workbook, path: Path) -> None:
    """Write the workbook to its file; raises LoadError where that fails."""
    try:
        workbook.close()
    except (OSError, xlsxwriter.exceptions.XlsxWriterException) as error:
        raise LoadError(f"{path}: cannot be written: {error}") from error


def sheet_name(record: RecordType) -> str:
    """Return the name of a record type's sheet."""
    return record.sheet_names[0] if record.sheet_names else record.name


def write_record_sheet(
    sheet: Worksheet, styles: WorkbookStyles, headings: Sequence[tuple[str, Field | None]], lists: bool
) -> None:  # fmt: skip
    """Write a sheet's headings with their explanations, and prepare the cells below; `lists` adds drop-downs."""
    for column, (heading, field) in enumerate(headings):
        style = styles.added if field is None else styles.required if field.required else styles.optional
        sheet.write_string(0, column, heading, style)
        sheet.set_column(column, column, max(12, len(heading) + 3), _cells_style(styles, field))
        if field is not None:
            sheet.write_comment(0, column, explained(field), {"x_scale": 2})
            if lists:
                _add_list(sheet, column, field)
    sheet.freeze_panes(1, 0)


def _cells_style(styles: WorkbookStyles, field: Field | None) -> Format:
    if field is None or field.kind is Kind.DATE:
        return styles.plain if field is None else styles.date
    return styles.text if field.kind in (Kind.TEXT, Kind.WORD, Kind.PERSON) else styles.plain


def _add_list(sheet: Worksheet, column: int, field: Field) -> None:
    if field.kind is Kind.FLAG:
        source: str | list[str] = ["yes", "no"]
    elif field.vocabulary is not None:
        source = _words_range(field.vocabulary)
    else:
        return
    sheet.data_validation(
        1, column, _LAST_ROW, column,
        {"validate": "list", "source": source, "error_type": "warning", "error_title": "Another word",
         "error_message": "Not in the list. Other spellings of the same word may be read too."},
    )  # fmt: skip


def explained(field: Field) -> str:
    """Return what belongs in a field: its meaning, unit and range."""
    parts = [field.about]
    if field.required:
        parts.append("has to be filled in")
    if field.dimension is not None:
        parts.append(f"unit: {field.dimension.written_as}")
    if range_text(field):
        parts.append(f"from {range_text(field)}")
    return "; ".join(parts)


def range_text(field: Field) -> str:
    """Return the range that a field's values can have, as '0 to 5'; '' where none is declared."""
    if field.low is None and field.high is None:
        return ""
    low = "any" if field.low is None else f"{field.low:g}" if abs(field.low) < 1e6 else f"{field.low:.0f}"
    high = "any" if field.high is None else f"{field.high:g}" if abs(field.high) < 1e6 else f"{field.high:.0f}"
    return f"{low} to {high}"


def _write_guide(sheet: Worksheet, styles: WorkbookStyles) -> None:
    sheet.set_column(0, 0, 110, styles.wrapped)
    sheet.write_string(0, 0, TEMPLATE_MARK, styles.title)
    for row, sentence in enumerate(_GUIDE, 2):
        sheet.write_string(row, 0, sentence, styles.wrapped)


def _words_range(vocabulary: str) -> str:
    """Return where the words of a vocabulary stand in the list of words."""
    row = 1
    for one in VOCABULARIES:
        if one.name == vocabulary:
            return f"='{TEMPLATE_WORDS}'!{xl_range_abs(row, 1, row + len(one.words) - 1, 1)}"
        row += len(one.words)
    raise KeyError(f"no vocabulary '{vocabulary}'")


def _write_words(sheet: Worksheet, styles: WorkbookStyles) -> None:
    rows = [(v.name, w.word, w.about, ", ".join(w.spellings)) for v in VOCABULARIES for w in v.words]
    _write_rows(sheet, styles, ("list", "word", "meaning", "also read"), rows, (22, 30, 44, 60))


def _write_reference(sheet: Worksheet, styles: WorkbookStyles) -> None:
    headings = ("record", "field", "heading", "meaning", "unit", "required", "words", "range", "also headed")
    rows = [
        (
            record.name,
            field.name,
            field.heading,
            field.about,
            field.dimension.written_as if field.dimension else "",
            "yes" if field.required else "",
            ", ".join(vocabulary_named(field.vocabulary).codes()) if field.vocabulary else "",
            range_text(field),
            ", ".join(field.headings),
        )
        for record in RECORDS
        for field in record.fields
    ]
    _write_rows(sheet, styles, headings, rows, (18, 22, 26, 44, 10, 10, 60, 18, 40))


def _write_rows(
    sheet: Worksheet,
    styles: WorkbookStyles,
    headings: Sequence[str],
    rows: Sequence[Sequence[str]],
    widths: Sequence[int],
) -> None:
    for column, (heading, width) in enumerate(zip(headings, widths, strict=True)):
        sheet.set_column(column, column, width)
        sheet.write_string(0, column, heading, styles.optional)
    for number, row in enumerate(rows, 1):
        for column, text in enumerate(row):
            sheet.write_string(number, column, text)
    sheet.freeze_panes(1, 0)
    sheet.autofilter(0, 0, len(rows), len(headings) - 1)
