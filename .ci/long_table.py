"""Put the outcome of the long tests into the committed table: test, outcome, seconds, numbers, commit and day.

Usage: long_table.py JUNIT_XML TABLE. Rows of tests that were not run this time stay as they are.
"""

from __future__ import annotations

import csv
import datetime as dt
import subprocess
import sys
import xml.etree.ElementTree as ElementTree
from pathlib import Path

COLUMNS = ("test", "outcome", "seconds", "numbers", "commit", "day")


def main(report: Path, table: Path) -> None:
    """Merge the report into the table."""
    rows = {row["test"]: row for row in csv.DictReader(table.open())} if table.is_file() else {}
    commit = subprocess.run(["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=True).stdout
    for case in ElementTree.parse(report).getroot().iter("testcase"):
        name = f"{case.get('classname')}::{case.get('name')}"
        failed = any(case.find(tag) is not None for tag in ("failure", "error"))
        numbers = "; ".join(f"{p.get('name')} = {p.get('value')}" for p in case.iter("property"))
        outcome = "failed" if failed else "skipped" if case.find("skipped") is not None else "passed"
        seconds = f"{float(case.get('time') or 0):.0f}"
        values = (name, outcome, seconds, numbers, commit.strip(), dt.date.today().isoformat())
        rows[name] = dict(zip(COLUMNS, values, strict=True))
    with table.open("w", newline="") as out:
        writer = csv.DictWriter(out, COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows[name] for name in sorted(rows))


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
