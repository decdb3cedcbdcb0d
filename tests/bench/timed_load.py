"""Read files bare or load them, alone in this process, and print how long that took and how much memory at most."""

from __future__ import annotations

import csv
import json
import resource
import sys
import time
from pathlib import Path
from typing import Any

import duckdb

from ingest.load import load
from ingest.record_model import RecordType
from ingest.records import record_named


def read_bare(files: Path, folder: Path) -> None:
    """Read every file with its columns typed into a table on disk."""
    connection = duckdb.connect(str(folder / "bare.duckdb"))
    for path in sorted(files.glob("*.csv")):
        with path.open(encoding="utf-8") as file:
            headings = next(csv.reader(file))
        record = record_named(path.stem)
        columns = {heading: _bare_type(record, heading) for heading in headings}
        connection.execute(
            f"create table {path.stem} as select * from read_csv(?, auto_detect = false, delim = ',', quote = '\"', "
            f"header = true, ignore_errors = true, columns = {columns})",
            [str(path)],
        )
    connection.close()


def _bare_type(record: RecordType, heading: str) -> str:
    field = next(f for f in record.fields if heading in (f.name, f.heading) or heading.startswith(f"{f.name} ("))
    return "DOUBLE" if field.sql_type == "BIGINT" else field.sql_type


def load_all(files: Path, folder: Path) -> dict[str, Any]:
    """Load every file with all checks."""
    return load(folder / "records", [files]).to_plain()


def main() -> None:
    """Run one function and print what it gave, how long it took and how much memory it took at most."""
    name, files, folder = sys.argv[1], Path(sys.argv[2]), Path(sys.argv[3])
    began = time.monotonic()
    gave = {"bare": read_bare, "load": load_all}[name](files, folder)  # type: ignore[operator]
    seconds = time.monotonic() - began
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    print(json.dumps({"gave": gave, "seconds": seconds, "peak": peak}))


if __name__ == "__main__":
    main()
