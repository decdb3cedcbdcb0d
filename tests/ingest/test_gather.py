"""Check that a record type that was never read stands in the warehouse like one that was."""

from __future__ import annotations

from pathlib import Path

import duckdb

from ingest.load import load
from ingest.records import RECORDS


def _columns(warehouse: Path) -> dict[str, list[tuple[str, str]]]:
    """Return the name and type of every column of the records' tables, in order."""
    file = warehouse / f"warehouse-{int((warehouse / 'CURRENT').read_text()):06d}.duckdb"
    with duckdb.connect(str(file), read_only=True) as connection:
        found = connection.execute(
            "select table_name, column_name, data_type from duckdb_columns() order by table_name, column_index"
        ).fetchall()
    wanted = {name for record in RECORDS for name in (record.name, f"held_{record.name}")}
    columns: dict[str, list[tuple[str, str]]] = {}
    for table, column, kind in found:
        if table in wanted:
            columns.setdefault(table, []).append((column, kind))
    assert set(columns) == wanted
    return columns


def test_a_record_type_never_read_has_the_columns_of_one_that_was(tmp_path: Path, demo_warehouse_folder: Path) -> None:
    (tmp_path / "families.csv").write_text("family,kind\nF1,manual gearbox\n")
    load(tmp_path / "records", [tmp_path / "families.csv"])
    (tmp_path / "units.csv").write_text("unit,family\nU1,F1\n")
    first = _columns(tmp_path / "records")
    load(tmp_path / "records", [tmp_path / "units.csv"])
    assert first == _columns(tmp_path / "records") == _columns(demo_warehouse_folder)
