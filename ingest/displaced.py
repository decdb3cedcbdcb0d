"""Tell where a row that corrects one row takes the place of another one, which nobody named."""

from __future__ import annotations

from pathlib import Path

import duckdb

from ingest.records import RECORDS

MOST_TOLD = 20


def displaced_notes(connection: duckdb.DuckDBPyConnection, load_id: int) -> list[str]:
    """Return a sentence for each row of this load that corrects a row and, by its key, displaces another as well."""
    parts = " union all ".join(
        f"select source_id, row_number, by_source, by_row, '{r.name}' as record from new.held_{r.name} "
        f"where disposition = 'superseded' and reason = 'a later row has the same key' and (by_source, by_row) in "
        f"(select (source_id, row_number) from new.{r.name} where corrects is not null)"
        for r in RECORDS
        if r.key
    )
    rows = connection.execute(f"""
        select n.file, n.sheet, d.by_row, o.file, o.sheet, d.row_number, d.record
        from ({parts}) as d join source as n on n.source_id = d.by_source join source as o on o.source_id = d.source_id
        where n.load_id = {load_id} order by d.by_source, d.by_row, d.source_id, d.row_number limit {MOST_TOLD}
    """).fetchall()
    return [
        f"{_place(file, sheet, row)}: has the key of {_place(other, other_sheet, other_row)} "
        f"({record.replace('_', ' ')}), whose place it takes beside that of the row it corrects; is that meant?"
        for file, sheet, row, other, other_sheet, other_row, record in rows
    ]


def _place(file: str, sheet: str | None, row: int) -> str:
    return f"{Path(file).name}{f', sheet {sheet!r}' if sheet else ''}, row {row}"
