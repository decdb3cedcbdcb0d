"""Write records as files of the template's shape: one CSV a record type, template headings, no defects."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import polars as pl

from ingest.record_model import Field, Kind, RecordType
from ingest.records import RECORDS
from ingest.units_of_measure import Dimension, steps_per_unit, to_steps
from ingest.vocabularies import quantity_named

MOST_DECIMALS = 9


def written(dimension: Dimension, steps: int, unit: str) -> str:
    """Return `steps` in `unit` with the fewest decimals that lead back to exactly those steps.

    Raises ValueError where no number of decimals does.
    """
    exact = Decimal(steps) / steps_per_unit(dimension, unit)
    for decimals in range(MOST_DECIMALS + 1):
        shown = round(exact, decimals)
        if to_steps(dimension, shown, unit) == steps:
            return f"{shown:f}"
    raise ValueError(f"{steps} {dimension.step}s cannot be written in {unit}")


def _mapped(values: pl.Series, texts: dict[int, str]) -> pl.Series:
    return pl.Series(values.name, [None if v is None else texts[v] for v in values.to_list()], dtype=pl.String)


def measure_text(values: pl.Series, dimension: Dimension, unit: str) -> pl.Series:
    """Return whole steps as texts in `unit`."""
    return _mapped(values, {v: written(dimension, v, unit) for v in values.drop_nulls().unique().to_list()})


def reading_text(frame: pl.DataFrame, column: str) -> pl.Series:
    """Return a reading's whole steps as texts in each row's own `unit_written`."""
    seen: dict[tuple[int, str, str], str] = {}
    texts: list[str | None] = []
    for value, quantity, unit in frame.select(column, "quantity", "unit_written").iter_rows():
        if value is None:
            texts.append(None)
            continue
        key = (value, quantity, unit)
        if key not in seen:
            seen[key] = written(quantity_named(quantity).dimension, value, unit)
        texts.append(seen[key])
    return pl.Series(column, texts, dtype=pl.String)


def field_text(frame: pl.DataFrame, field: Field) -> pl.Series:
    """Return one field's values as texts in the template's unit."""
    values = frame[field.column]
    if field.dimension is not None:
        return measure_text(values, field.dimension, field.dimension.written_as)
    if field.kind is Kind.READING:
        return reading_text(frame, field.column)
    if field.kind is Kind.FLAG:
        return pl.Series(field.column, [None if v is None else "yes" if v else "no" for v in values], dtype=pl.String)
    return values.cast(pl.String)


def template_frame(record: RecordType, frame: pl.DataFrame) -> pl.DataFrame:
    """Return a record's frame as texts under the template's headings."""
    return pl.DataFrame([field_text(frame, field).alias(field.heading) for field in record.fields])


def clean_file_name(record: RecordType) -> str:
    """Return the name of a record type's file."""
    return f"{record.sheet_names[0].replace(' ', '_')}.csv"


def write_clean_files(records: dict[str, pl.DataFrame], out: Path) -> dict[str, int]:
    """Write one CSV a record type into `out`; return the rows written by file name."""
    out.mkdir(parents=True, exist_ok=True)
    counts = {}
    for record in RECORDS:
        name = clean_file_name(record)
        template_frame(record, records[record.name]).write_csv(out / name)
        counts[name] = records[record.name].height
    return counts
