"""Write the records as they were known on a day: as if the source files ended there, and load them anew."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import polars as pl

from analytics.warehouse_file import Warehouse, open_warehouse
from demo_warehouse.clean_files import clean_file_name, template_frame
from ingest.load import load
from ingest.record_model import Field, Kind, RecordType
from ingest.records import RECORDS
from ingest.vocabularies import QUANTITIES


def load_without_future(full: Path, day: dt.date, folder: Path) -> Path:
    """Load into `folder` what the job records in `full` held that was known on `day`; return the new records' folder.

    Rows that became known later are left out, and fields that became known later are left blank, by the clocks of the
    declarations. Everything is written as the template has it and loaded the ordinary way. Raises AssertionError
    where a row is then not accepted: nothing that was known may rest on what was not.
    """
    files = write_without_future(full, day, folder / "files")
    report = load(folder / "records", [files])
    left = {source.file: source for source in report.sources if source.read != source.accepted}
    assert not left, f"rows known on {day} are not accepted without the rows known later: {left}"
    return folder / "records"


def write_without_future(full: Path, day: dt.date, files: Path) -> Path:
    """Write one CSV a record type with what was known on `day`; return the folder."""
    files.mkdir(parents=True)
    opened = open_warehouse(full)
    try:
        for record in RECORDS:
            frame = _known(opened, record, day)
            if frame.height:
                template_frame(record, frame).write_csv(files / clean_file_name(record))
    finally:
        opened.close()
    return files


def _known(opened: Warehouse, record: RecordType, day: dt.date) -> pl.DataFrame:
    columns = ", ".join(_masked(record, field) for field in record.fields)
    return opened.query(
        f"select {columns} from {record.name} where not from_habit and (known_on is null or known_on <= $day) "
        "order by source_id, row_number",
        {"day": day},
    )


def _masked(record: RecordType, field: Field) -> str:
    value = field.column
    if field.name == "unit_written" and any(other.kind is Kind.READING for other in record.fields):
        units = " ".join(f"when '{q.word}' then '{q.dimension.written_as}'" for q in QUANTITIES)
        value = f"coalesce(unit_written, case quantity {units} end)"  # where the heading had said it
    clock = record.clock_of(field)
    return f"case when {clock} <= $day then {value} end as {field.column}" if clock else f"{value} as {field.column}"
