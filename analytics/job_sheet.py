"""Put together the whole sheet of one job: everything on record about it, as known on a day."""

from __future__ import annotations

import datetime as dt
import difflib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import polars as pl

from analytics.answer import Column
from analytics.history import History
from analytics.job_sheet_tables import TABLES_OF_SHEET, TableOfSheet
from analytics.question import QuestionError
from analytics.scope import PRIVATE_OWNERS

_HEAD = """
select j.job, j.unit, u.family, f.kind as unit_kind, u.serial_number, j.kind, j.opened, j.torn_down, j.closed,
       j.delivered, j.technician, coalesce(nullif(j.fleet, ''), $private) as fleet, j.duty, j.arrival, j.refitted_by,
       j.odometer_m / 1000 as odometer_km, j.unit_distance_m / 1000 as unit_distance_km, j.hours_min / 60 as hours_h,
       j.usage_basis, j.scope, j.declined, j.complaint_since, j.odometer_since_m / 1000 as odometer_since_km,
       j.oil_brass, j.oil_steel, j.oil_changed_recently, j.earlier_work, j.gear_set_found, j.gear_set_built,
       j.case_replaced, j.warranty_months, j.warranty_distance_m / 1000 as warranty_distance_km
from known_job j
left join known_unit u on u.unit = j.unit
left join known_family f on f.family = u.family
where j.job = $job
"""

_HEAD_COLUMNS = (
    Column("job", "Job"),
    Column("unit", "Unit"),
    Column("family", "Family"),
    Column("unit_kind", "What it is"),
    Column("serial_number", "Serial number"),
    Column("kind", "Kind of job"),
    Column("opened", "Opened"),
    Column("torn_down", "Taken apart"),
    Column("closed", "Finished"),
    Column("delivered", "Delivered"),
    Column("technician", "Lead technician"),
    Column("fleet", "Fleet"),
    Column("duty", "Duty"),
    Column("arrival", "Came"),
    Column("refitted_by", "Refitted by"),
    Column("odometer_km", "Odometer", unit="km"),
    Column("unit_distance_km", "Unit's own distance", unit="km"),
    Column("hours_h", "Hour meter", unit="h"),
    Column("usage_basis", "Usage known by"),
    Column("scope", "Agreed scope"),
    Column("declined", "Declined by the customer"),
    Column("complaint_since", "Complains since"),
    Column("odometer_since_km", "Complains since odometer", unit="km"),
    Column("oil_brass", "Brass in the oil"),
    Column("oil_steel", "Steel in the oil"),
    Column("oil_changed_recently", "Oil changed shortly before"),
    Column("earlier_work", "Earlier work"),
    Column("gear_set_found", "Gear set found"),
    Column("gear_set_built", "Gear set built in"),
    Column("case_replaced", "Casing replaced"),
    Column("warranty_months", "Warranty", unit="months"),
    Column("warranty_distance_km", "Warranty distance", unit="km"),
)


@dataclass(frozen=True)
class SheetTable:
    """Hold one table of a job sheet: its heading, its columns for people, and its rows."""

    name: str
    heading: str
    columns: tuple[Column, ...]
    rows: pl.DataFrame


@dataclass(frozen=True)
class JobSheet:
    """Hold everything on record about one job, as known on `as_of`.

    `head` maps each name in `head_columns` to its value, None where not on record. `tables` hold, in the order of
    the work: complaints, findings, readings by trial, packs, contact patterns, road tests, parts, labour, outside
    work, waits, money, comebacks to this job and from it, and the unit's other visits. Lengths are mm, torques N·m,
    distances km, times h, money net in the workshop's currency.
    """

    job: str
    as_of: dt.date
    warehouse_version: int
    head: Mapping[str, Any]
    head_columns: tuple[Column, ...] = field(repr=False)
    tables: tuple[SheetTable, ...] = field(repr=False)

    def table(self, name: str) -> SheetTable:
        """Return the table called `name`; raises KeyError with the tables that exist."""
        for table in self.tables:
            if table.name == name:
                return table
        raise KeyError(f"a job sheet has no table '{name}'; it has {', '.join(t.name for t in self.tables)}")

    @property
    def holds_settings(self) -> bool:
        """Return whether readings or shim packs stand on this sheet, so that cautions belong on it."""
        return any(self.table(name).rows.height for name in ("readings", "packs"))


def job_sheet(history: History, job: str) -> JobSheet:
    """Return the whole sheet of `job` as known on the history's day; the scope's filters play no part.

    Raises QuestionError with the nearest job number where none of that number was known on that day.
    """
    found = history.query(_HEAD, {"job": job, "private": PRIVATE_OWNERS})
    if found.is_empty():
        raise QuestionError(_no_such_job(history, job))
    head = found.row(0, named=True)
    tables = tuple(_table(history, table, job) for table in TABLES_OF_SHEET)
    return JobSheet(job, history.as_of, history.warehouse.version, head, _HEAD_COLUMNS, tables)


def _table(history: History, table: TableOfSheet, job: str) -> SheetTable:
    rows = history.query(table.sql, {"job": job})
    return SheetTable(table.name, table.heading, table.columns, rows)


def _no_such_job(history: History, job: str) -> str:
    known = history.query("select job from known_job order by job")["job"].to_list()
    near = difflib.get_close_matches(job, known, n=1)
    hint = f"; did you mean '{near[0]}'?" if near else ""
    return f"no job '{job[:80]}' was on record on {history.as_of}{hint}"
