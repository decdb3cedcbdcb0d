"""Tell how sound the job records are: rows to put right, flags, and where every row ever read stands."""

from __future__ import annotations

import polars as pl

from analytics.warehouse_file import Warehouse


def _record_names(warehouse: Warehouse) -> list[str]:
    names = warehouse.query("select distinct record from record_field order by record")
    return [str(name) for name in names["record"]]


def rows_to_put_right(warehouse: Warehouse) -> pl.DataFrame:
    """Return one row per row to put right: record, reference, file, sheet, row_number, field, reason, original."""
    parts = " union all ".join(
        f"select '{name}' as record, source_id, row_number, field, reason, original from held_{name} "
        "where disposition = 'quarantined'"
        for name in _record_names(warehouse)
    )
    return warehouse.query(f"""
        select h.record, 'S' || h.source_id || ':' || h.row_number as reference, s.file, s.sheet, h.row_number,
          h.field, h.reason, h.original, s.style
        from ({parts}) as h join source as s using (source_id)
        order by s.file, s.sheet nulls first, h.row_number, h.record, h.source_id
    """)


def flags(warehouse: Warehouse) -> pl.DataFrame:
    """Return one row per flag: record, job, unit, about, sentence."""
    return warehouse.query("select * from flag order by about, unit nulls last, job nulls last, sentence")


def standing(warehouse: Warehouse) -> pl.DataFrame:
    """Return one row per sheet and record type ever read: read, accepted, duplicate, superseded, quarantined."""
    return warehouse.query("select * from standing order by source_id")
