"""Write a small folder of job records by hand, in the shape that the declarations give."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import duckdb

from ingest.records import RECORDS

Rows = Mapping[str, Sequence[Mapping[str, Any]]]


def write_records(folder: Path, rows: Rows, version: int = 1) -> Path:
    """Publish `rows` (record name -> rows by column; `known_on` and `settled_on` may be given) as a version."""
    folder.mkdir(parents=True, exist_ok=True)
    with duckdb.connect(str(folder / f"warehouse-{version:06d}.duckdb")) as connection:
        _write_tables(connection, rows)
    pointer = folder / "CURRENT.part"
    pointer.write_text(str(version))
    pointer.replace(folder / "CURRENT")
    return folder


def _write_tables(connection: duckdb.DuckDBPyConnection, rows: Rows) -> None:
    connection.execute("create table clock (record varchar, position integer, column_name varchar, clock varchar)")
    latest = dt.date(2000, 1, 1)
    for record in RECORDS:
        columns = {f.column: f.sql_type for f in record.fields} | {"known_on": "DATE", "settled_on": "DATE"}
        definition = ", ".join(f"{name} {kind}" for name, kind in columns.items())
        connection.execute(f"create table {record.name} ({definition})")
        clocks = {f.column: f.known for f in record.fields}
        for place, name in enumerate(columns):
            connection.execute("insert into clock values (?, ?, ?, ?)", [record.name, place, name, clocks.get(name)])
        for row in rows.get(record.name, ()):
            unknown = set(row) - set(columns)
            assert not unknown, f"{record.name} has no column {unknown}"
            marks = ", ".join("?" * len(row))
            connection.execute(f"insert into {record.name} ({', '.join(row)}) values ({marks})", list(row.values()))
            latest = max([latest, *(v for v in row.values() if isinstance(v, dt.date))])
    connection.execute("create table record_field as select 'job' as record")
    connection.execute(
        "create table held_job as select 1 as source_id, 7 as row_number, 'opened' as field, 'not a day' as reason, "
        "'{}' as original, 'quarantined' as disposition"
    )
    connection.execute("create table source as select 1 as source_id, 'jobs 2024.xlsx' as file, 'Jobs' as sheet")
    connection.execute("create table flag (record varchar, job varchar, unit varchar, about varchar, sentence varchar)")
    connection.execute("insert into flag values ('job', 'J/24-17', 'U-7', 'odometer_falls', 'it fell by 12 km')")
    connection.execute(
        "create table standing as select 1 as source_id, 1 as load_id, 'jobs 2024.xlsx' as file, 'Jobs' as sheet, "
        "'job' as record, 3 as read, 2 as accepted, 0 as duplicate, 0 as superseded, 1 as quarantined"
    )
    connection.execute("create table load as select 1 as load_id, timestamp '2024-09-10 08:00' as \"at\", null::varchar as mapping_version")
    connection.execute("create table warehouse_format (format integer, latest date)")
    connection.execute("insert into warehouse_format values (1, ?)", [latest])


DAY = dt.date


def one_job() -> dict[str, list[dict[str, Any]]]:
    """Return the records of one axle drive's job, with one line of everything on its sheet."""
    told = {"known_on": DAY(2024, 3, 8), "settled_on": DAY(2024, 3, 20)}
    return {
        "family": [{"family": "K40", "kind": "axle_drive"}],
        "position": [
            {"family": "K40", "position": "pinion head bearing", "component": "bearing"},
            {"family": "K40", "position": "crown wheel and pinion", "component": "crown_wheel_pinion"},
        ],
        "unit": [{"unit": "U-7", "family": "K40", "serial_number": "K40-00071"}],
        "part": [{"part": "B-100", "description": "pinion head bearing", "component": "bearing"}],
        "job": [
            {
                "job": "J/24-17", "unit": "U-7", "kind": "full_rebuild", "opened": DAY(2024, 3, 4),
                "torn_down": DAY(2024, 3, 8), "closed": DAY(2024, 3, 20), "delivered": DAY(2024, 3, 22),
                "odometer_m": 184_250_000, "usage_basis": "read", "duty": "tow", "oil_steel": "heavy",
                "technician": "T2", "warranty_months": 12, "quoted_cents": 240_000, "invoiced_cents": 251_550,
                "known_on": DAY(2024, 3, 4), "settled_on": DAY(2024, 3, 20),
            },
            {
                "job": "J/24-61", "unit": "U-7", "kind": "part_rebuild", "opened": DAY(2024, 9, 2),
                "technician": "T1", "known_on": DAY(2024, 9, 2), "settled_on": DAY(2024, 9, 2),
            },
        ],
        "complaint": [{"job": "J/24-17", "complaint": "whine", "when_heard": "coast", **told}],
        "finding": [
            {"job": "J/24-17", "position": "pinion head bearing", "grade": "3", "damage_mode": "spalling",
             "role": "cause", "action": "replaced_failed", **told},
            {"job": "J/24-17", "position": "crown wheel and pinion", "grade": "1", "role": "sound",
             "action": "reused", **told},
        ],
        "measurement": [
            {"job": "J/24-17", "quantity": "pinion_depth", "location": "behind pinion head", "stage": "as_built",
             "value": 66_600, "target": 66_600, "lower": 66_570, "upper": 66_630, "instrument": "DG1", **told},
            {"job": "J/24-17", "quantity": "pinion_depth", "location": "behind pinion head", "stage": "as_found",
             "value": 66_350, "target": 66_600, "instrument": "DG1", **told},
            {"job": "J/24-17", "quantity": "preload_torque", "stage": "as_built", "value": 2_260, **told},
        ],
        "shim": [
            {"job": "J/24-17", "location": "behind pinion head", "stage": "as_built", "thickness_um": 100,
             "pieces": 2, "thickness_basis": "nominal", **told},
            {"job": "J/24-17", "location": "behind pinion head", "stage": "as_built", "thickness_um": 150,
             "thickness_basis": "measured", **told},
        ],
        "contact_pattern": [
            {"job": "J/24-17", "trial": 1, "drive_lengthwise": "toe", "drive_profile": "flank", "passed": False, **told}
        ],
        "part_line": [
            {"job": "J/24-17", "part": "B-100", "movement": "fitted", "position": "pinion head bearing",
             "supplier": "Northgate Bearings", "quantity_milli": 1_000, "unit_cost_cents": 6_120,
             "unit_price_cents": 9_800, **told}
        ],
        "labour": [{"job": "J/24-17", "operation": "strip", "technician": "T2", "worked_min": 150,
                    "billed_min": 120, "worked_on": DAY(2024, 3, 8), "known_on": DAY(2024, 3, 8)}],
        "outside_work": [{"job": "J/24-17", "process": "cleaning", "cost_cents": 4_500, "price_cents": 6_000,
                          "sent": DAY(2024, 3, 9), "back": DAY(2024, 3, 12), **told}],
        "wait": [{"job": "J/24-17", "waiting_on": "part", "part": "B-100", "wait_from": DAY(2024, 3, 9),
                  "wait_to": DAY(2024, 3, 15), "known_on": DAY(2024, 3, 9), "settled_on": DAY(2024, 3, 15)}],
        "money_line": [{"job": "J/24-17", "money_kind": "deposit", "amount_cents": 50_000,
                        "booked_on": DAY(2024, 3, 4), "known_on": DAY(2024, 3, 4)}],
        "road_test": [{"job": "J/24-17", "test": "drive", "tested_on": DAY(2024, 3, 21), "on_coast": "good",
                       "distance_m": 18_000, "known_on": DAY(2024, 3, 21)}],
        "comeback": [{"original_job": "J/24-17", "comeback_job": "J/24-61", "reported": DAY(2024, 8, 30),
                      "settled": DAY(2024, 9, 9), "outcome": "our_work", "payer": "us", "cost_cents": 31_000,
                      "known_on": DAY(2024, 8, 30), "settled_on": DAY(2024, 9, 9)}],
    }  # fmt: skip
