"""Lay the invented workshop's records out as a history without files or loading, for simulations over many seeds."""

from __future__ import annotations

import datetime as dt
from importlib import resources
from pathlib import Path

import duckdb
import polars as pl

from analytics.history import History
from analytics.scope import Scope
from analytics.warehouse_file import Warehouse
from ingest.records import RECORDS

MARTS = ("pack",)  # those that the questions about setting read


def history_in_memory(records: dict[str, pl.DataFrame], as_of: dt.date, scope: Scope | None = None) -> History:
    """Return the history of clean records (record type -> frame), everything known on `as_of`."""
    connection = duckdb.connect(":memory:")
    connection.execute("create schema new")
    for record in RECORDS:
        connection.register("rows_given", records[record.name].to_arrow())
        add_family = record.name == "job"
        connection.execute(f"create table new.{record.name} as select * from rows_given")
        connection.unregister("rows_given")
        if add_family:
            connection.execute(
                "create or replace table new.job as select j.*, u.family, row_number() over (order by j.job) as job_id "
                "from new.job j join unit_family u using (unit)"
            )
        if record.name == "unit":
            connection.execute("create table unit_family as select unit, family from new.unit")
    for record in RECORDS:
        join = "left join new.job as j on j.job = r.job" if record.has_job else ""
        number = "j.job_id, " if record.has_job else ""
        j = "j" if record.has_job else "r"
        known = record.known_on.replace("j.", f"{j}.")
        settled = record.settled_on.replace("j.", f"{j}.")
        connection.execute(
            f"create or replace table new.{record.name}_dated as select r.*, {number}({known})::date as known_on, "
            f"({settled})::date as settled_on from new.{record.name} as r {join}"
        )
    for record in RECORDS:
        connection.execute(f"drop table new.{record.name}; alter table new.{record.name}_dated rename to {record.name}")
        connection.execute(f"create view {record.name} as select * from new.{record.name}")
    for mart in MARTS:
        sql = resources.files("ingest.marts").joinpath(f"{mart}.sql").read_text()
        connection.execute(f"create table {mart} as {sql}")
    names = [(name, "job", None, place) for place, name in enumerate([*(r.name for r in RECORDS), *MARTS])]
    connection.execute("create table clock (record varchar, column_name varchar, clock varchar, position integer)")
    connection.execute("create table mart_by_day (name varchar, sql varchar)")
    connection.executemany("insert into clock values (?, ?, ?, ?)", names)
    connection.execute(f"create table warehouse_format as select 1 as format, date '{as_of}' as latest")
    return History(Warehouse(Path("in memory"), 1, connection), as_of, scope or Scope())
