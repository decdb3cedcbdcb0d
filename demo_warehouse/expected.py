"""Count what the loader has to make of the messy files, from the pages and the planted defects."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

from demo_warehouse.defects import Defect
from demo_warehouse.pages import Page

DISPOSITIONS = ("accepted", "duplicate", "superseded", "quarantined")


def rows_read(page: Page) -> dict[str, int]:
    """Return how many rows of a page each of its readings takes, added up by record type."""
    counts: Counter[str] = Counter()
    for reading in page.readings:
        places = [page.at(heading) for heading in reading.needs]
        counts[reading.record.name] += sum(not any(row[i] is None for i in places) for row in page.rows)
    return dict(counts)


def expected_counts(pages: Sequence[Page], defects: Sequence[Defect]) -> list[dict[str, Any]]:
    """Return one row per record type: read, accepted, duplicate, superseded, quarantined."""
    read: Counter[str] = Counter()
    for page in pages:
        read.update(rows_read(page))
    other = Counter((d.record, d.expected) for d in defects if d.expected != "accepted")
    told: list[dict[str, Any]] = []
    for record, count in read.items():
        row: dict[str, Any] = {"record": record, "read": count}
        for disposition in DISPOSITIONS[1:]:
            row[disposition] = other[record, disposition]
        row["accepted"] = count - sum(row[d] for d in DISPOSITIONS[1:])
        told.append(row)
    return told
