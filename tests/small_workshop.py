"""Write a small workshop's records as CSV files and load them."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import polars as pl
from click.testing import CliRunner

from analytics.history import History
from analytics.scope import Scope
from analytics.warehouse_file import open_warehouse
from dashboards.command.main import layshaft
from ingest.load import load
from ingest.records import record_named

Rows = Sequence[Mapping[str, Any]]


def load_rows(folder: Path, records: Mapping[str, Rows]) -> Path:
    """Write each record type's rows under the template's headings, load them all and return the warehouse folder.

    Raises AssertionError where a row was not accepted.
    """
    files = folder / "files"
    files.mkdir(parents=True, exist_ok=True)
    for name, rows in records.items():
        headings = {field.name: field.heading for field in record_named(name).fields}
        table = [{headings[key]: _text(value) for key, value in row.items()} for row in rows]
        pl.DataFrame(table, infer_schema_length=None).write_csv(files / f"{name}.csv")
    report = load(folder / "records", [files])
    totals = report.to_plain()["totals"]
    assert isinstance(totals, dict)
    assert totals["read"] == totals["accepted"], totals
    return folder / "records"


def _text(value: Any) -> str | None:
    if value is None:
        return None
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value.isoformat() if isinstance(value, dt.date) else str(value)


def history(folder: Path, as_of: dt.date, **scope: Any) -> History:
    """Return the history of a warehouse as of a day."""
    return History(open_warehouse(folder), as_of, Scope(**scope))


def shown(folder: Path, *arguments: str) -> dict[str, Any]:
    """Return what `layshaft show ... --json` prints, as a person would ask it."""
    done = CliRunner().invoke(
        layshaft, ["show", *arguments, "--warehouse", str(folder), "--json"], catch_exceptions=False
    )
    assert done.exit_code == 0, done.output
    answer: dict[str, Any] = json.loads(done.output)
    return answer
