"""Collect the rows of every record type while the years are played through, and turn them into typed frames."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

import numpy as np
import polars as pl

from ingest.record_model import Field, Kind, RecordType
from ingest.records import RECORDS

_TYPES: dict[Kind, pl.DataType] = {
    Kind.TEXT: pl.String(),
    Kind.WORD: pl.String(),
    Kind.DATE: pl.Date(),
    Kind.FLAG: pl.Boolean(),
    Kind.COUNT: pl.Int32(),
    Kind.MEASURE: pl.Int64(),
    Kind.READING: pl.Int64(),
    Kind.PERSON: pl.String(),
}

Row = dict[str, Any]


class Rows:
    """Hold rows as dictionaries by field name; days are day numbers and measures whole stored steps."""

    def __init__(self) -> None:
        """Begin with no rows."""
        self.by_record: dict[str, list[Row]] = defaultdict(list)

    def add(self, record: str, **values: Any) -> Row:
        """Append one row and return it, so that later events can fill what was not known yet."""
        self.by_record[record].append(values)
        return values


def _column(field: Field, rows: list[Row]) -> pl.Series:
    values = [row.get(field.name) for row in rows]
    if field.kind is Kind.DATE:
        days = pl.Series(field.column, [None if v is None else int(v) for v in values], dtype=pl.Int32)
        return days.cast(pl.Date)
    if field.kind in (Kind.MEASURE, Kind.READING, Kind.COUNT):
        values = [None if v is None else int(v) for v in values]
    elif field.kind is Kind.FLAG:
        values = [None if v is None else bool(v) for v in values]
    return pl.Series(field.column, values, dtype=_TYPES[field.kind])


def frame_of(record: RecordType, rows: list[Row]) -> pl.DataFrame:
    """Return rows as a frame with the record's columns; raises KeyError for a value that belongs to no field."""
    known = {field.name for field in record.fields}
    for row in rows:
        if not row.keys() <= known:
            raise KeyError(f"{record.name} has no field '{sorted(row.keys() - known)[0]}'")
    return pl.DataFrame([_column(field, rows) for field in record.fields])


def frames_of(rows: Rows) -> dict[str, pl.DataFrame]:
    """Return one frame per declared record type, in the declared order."""
    return {record.name: frame_of(record, rows.by_record.get(record.name, [])) for record in RECORDS}


def chance(rng: np.random.Generator, share: float) -> bool:
    """Return True with probability `share`."""
    return bool(rng.random() < share)


def pick(rng: np.random.Generator, shares: dict[str, float]) -> str:
    """Return one key, drawn with the given shares (which need not add up to one)."""
    names = list(shares)
    at = rng.random() * sum(shares.values())
    for name in names:
        at -= shares[name]
        if at < 0:
            return name
    return names[-1]
