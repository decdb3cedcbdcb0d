"""Hold the shape of a record declaration: what a field is, what a record type is."""

from __future__ import annotations

from dataclasses import dataclass
from dataclasses import field as dataclass_field
from enum import StrEnum

from ingest.units_of_measure import Dimension


class Kind(StrEnum):
    """Name the kinds of value that a field may hold."""

    TEXT = "text"
    WORD = "word"  # one of a vocabulary
    DATE = "date"
    FLAG = "flag"
    COUNT = "count"
    MEASURE = "measure"  # a magnitude in whole steps of its dimension
    READING = "reading"  # a magnitude whose dimension follows from the row's `quantity`
    PERSON = "person"  # a personal name: only a keyed digest is kept


@dataclass(frozen=True)
class Field:
    """Declare one field of a record.

    `known` says from when the field's value was known to the workshop: None means as soon as the row itself,
    the name of a date field of the same record means from that day (from the second clock, where that day was not
    written down), "settled_on" from the row's second clock, "comeback_known" from the day the job that came back was
    opened.
    `low` and `high` bound what the value can mean, in the dimension's `written_as` unit.
    `headings` are other headings under which workshops commonly keep it.
    """

    name: str
    kind: Kind
    about: str
    required: bool = False
    vocabulary: str | None = None
    dimension: Dimension | None = None
    references: str | None = None  # "record.field": the row waits until that row is on record
    names: str | None = None  # "record.field": flagged, not refused, where it is not on record
    low: float | None = None
    high: float | None = None
    known: str | None = None
    headings: tuple[str, ...] = ()

    @property
    def column(self) -> str:
        """Return the warehouse column's name, which ends in the stored step where there is one."""
        return self.name + self.dimension.suffix if self.dimension else self.name

    @property
    def heading(self) -> str:
        """Return the heading in the workbook template, unit included."""
        return f"{self.name} ({self.dimension.written_as})" if self.dimension else self.name

    @property
    def sql_type(self) -> str:
        """Return the DuckDB type of the stored column."""
        return _SQL_TYPES[self.kind]


_SQL_TYPES: dict[Kind, str] = {
    Kind.TEXT: "VARCHAR",
    Kind.WORD: "VARCHAR",
    Kind.DATE: "DATE",
    Kind.FLAG: "BOOLEAN",
    Kind.COUNT: "INTEGER",
    Kind.MEASURE: "BIGINT",
    Kind.READING: "BIGINT",
    Kind.PERSON: "VARCHAR",
}


@dataclass(frozen=True)
class RecordType:
    """Declare one record type.

    `key` names the fields of the natural key; empty means rows without one (digest plus occurrence number).
    `known_on` and `settled_on` are SQL expressions over `r` (this row) and `j` (its job, where it has one) that
    give the day on which the row, and its later fields, became known; NULL means always known.
    `in_order` lists date fields that cannot lie before the one named ahead of them.
    `entered` names the field that dates the entry of a correction.
    """

    name: str
    about: str
    grain: str
    fields: tuple[Field, ...]
    key: tuple[str, ...] = ()
    known_on: str = "NULL"
    settled_on: str = "NULL"
    in_order: tuple[tuple[str, str], ...] = ()
    entered: str | None = None
    sheet_names: tuple[str, ...] = dataclass_field(default=())

    def field_named(self, name: str) -> Field:
        """Return the field called `name`; raises KeyError with the fields that exist."""
        for candidate in self.fields:
            if candidate.name == name:
                return candidate
        raise KeyError(f"{self.name} has no field '{name}'; it has {', '.join(f.name for f in self.fields)}")

    def clock_of(self, field: Field) -> str | None:
        """Return SQL over the published columns for the day from which a field was known, None for the row's own."""
        if field.known is None or field.known in ("settled_on", "comeback_known"):
            return field.known
        day = self.field_named(field.known).column
        return day if day == field.column else f"coalesce({day}, settled_on)"

    @property
    def has_job(self) -> bool:
        """Return whether rows belong to a job."""
        return self.name != "job" and any(f.references == "job.job" and f.name == "job" for f in self.fields)
