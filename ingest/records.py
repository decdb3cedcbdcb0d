"""List every record type once: the source for checks, tables, workbook template and field reference.

The order is the order of resolution: a record type comes after those it refers to.
"""

from __future__ import annotations

import difflib

from ingest.record_model import RecordType
from ingest.records_of_jobs import JOB_RECORDS, THE_JOB
from ingest.records_of_the_bench import BENCH_RECORDS
from ingest.records_of_trade import KIT, PART, TRADE_RECORDS
from ingest.records_of_units import (
    FAMILY,
    FITTING,
    GEAR_SET,
    POSITION,
    SHIM_LOCATION,
    SIGHTING,
    SPECIFICATION,
    UNIT,
)

RECORDS: tuple[RecordType, ...] = (
    FAMILY, POSITION, SHIM_LOCATION, SPECIFICATION, PART, KIT, GEAR_SET, UNIT, FITTING, SIGHTING,
    *JOB_RECORDS, *BENCH_RECORDS, *TRADE_RECORDS,
)  # fmt: skip


# What every other record may name is decided first; the records of jobs name none of each other.
FIRST_RECORDS = RECORDS[: RECORDS.index(THE_JOB) + 1]
RECORDS_OF_JOBS = RECORDS[len(FIRST_RECORDS) :]


def record_named(name: str) -> RecordType:
    """Return the record type called `name`; raises KeyError with the nearest name that exists."""
    for record in RECORDS:
        if record.name == name:
            return record
    near = difflib.get_close_matches(name, [record.name for record in RECORDS], n=1)
    hint = f"; did you mean '{near[0]}'?" if near else ""
    raise KeyError(f"no record type '{name}'{hint} There are {', '.join(record.name for record in RECORDS)}")
