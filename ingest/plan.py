"""Hold what is known of a source before its rows are typed: the raw table and which column is which field."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from ingest.record_model import Field, RecordType


class LoadError(Exception):
    """Say in one plain sentence why a file, sheet, column or option cannot be read; nothing was published."""


@dataclass(frozen=True)
class RefusedRow:
    """Hold a source row that could not be split into columns: its number, its text and the reason."""

    row_number: int
    text: str
    reason: str


@dataclass(frozen=True)
class SourceTable:
    """Describe one sheet (or one file without sheets), read as text into a table of the load's connection.

    `raw_table` has the columns `row_number` BIGINT (the row's number in the sheet as a person counts it, heading
    included) and `c0`, `c1` ... VARCHAR, one per heading; blank cells are NULL, dates are ISO texts, and numbers
    are texts with a decimal point when the file holds them as numbers. `typed_cells` says that numbers and dates
    came from typed cells (workbook, JSON, Parquet), so that no decimal comma or date order has to be guessed.
    `content_digest` identifies the canonical content (headings and cells in order), not the bytes.
    `may_have_blanks_around` is false where it is known that no cell begins or ends with a blank.
    """

    file: Path
    sheet: str | None
    raw_table: str
    headings: tuple[str, ...]
    heading_row: int
    rows: int
    typed_cells: bool
    content_digest: str
    refused: tuple[RefusedRow, ...] = ()
    may_have_blanks_around: bool = True

    @property
    def place(self) -> str:
        """Return the file's name, with the sheet where there is one, for use in a sentence."""
        return f"{self.file.name}, sheet '{self.sheet}'" if self.sheet else self.file.name


@dataclass(frozen=True)
class ColumnPlan:
    """Say where one field's values come from and how they are written.

    Exactly one of `source` (a column of the raw table) and `fixed` (the same text for every row) is set.
    `unit` is the unit of a measure or reading; None where a `unit_written` column of the row says it.
    `words` maps a folded spelling (lower case, single spaces) to the vocabulary's word.
    `decimal` is "." or "," and `date_order` "day", "month" or "year"; None means: find out from the column's own
    values, and refuse the column where they do not settle it.
    """

    field: Field
    source: str | None
    heading: str
    fixed: str | None = None
    unit: str | None = None
    words: Mapping[str, str] = dataclasses.field(default_factory=dict)
    decimal: str | None = None
    date_order: str | None = None


@dataclass(frozen=True)
class SheetPlan:
    """Say which record type a sheet holds and which of its columns is which field.

    `needs` are raw columns that must be filled for a row to count as a row of this record type at all (several
    plans may read one sheet). `habits` are the habits that the mapping declares for it. `mapping_digest`
    identifies the mapping entry that made the plan ("" for headings understood without a mapping). `corrects` is the
    raw column that names, as "S12:45", the row to put right which a row replaces.
    """

    record: RecordType
    table: SourceTable
    columns: tuple[ColumnPlan, ...]
    needs: tuple[str, ...] = ()
    habits: frozenset[str] = frozenset()
    mapping_digest: str = ""
    unused_headings: tuple[str, ...] = ()
    corrects: str | None = None
