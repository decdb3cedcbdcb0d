"""Load units that were each rebuilt once and delivered on one day, for tests of what came of them."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

from tests.small_workshop import load_rows

D = dt.date
DELIVERED = D(2020, 1, 10)
AS_OF = D(2024, 1, 1)


def workshop(folder: Path, jobs: list[dict[str, Any]], **more: list[dict[str, Any]]) -> Path:
    """Load registered units, each rebuilt once and delivered on one day; a job may name its technician."""
    plain = {"kind": "full_rebuild", "opened": D(2020, 1, 1), "closed": DELIVERED, "delivered": DELIVERED}
    units = [{"unit": f"U-{job['job']}", "family": "K4", "register_entry": D(2019, 1, 1)} for job in jobs]
    records: dict[str, list[dict[str, Any]]] = {
        "family": [{"family": "K4", "kind": "gearbox"}],
        "position": [
            {"family": "K4", "position": "2nd ring", "component": "synchroniser_ring", "mate": "1-2 slider"},
            {"family": "K4", "position": "1-2 slider", "component": "slider", "mate": "2nd ring"},
            {"family": "K4", "position": "input seal", "component": "seal"},
        ],
        "unit": units,
        "job": [{**plain, "unit": unit["unit"], **job} for job, unit in zip(jobs, units, strict=True)],
    }
    return load_rows(folder, {**records, **more})


def back(job: str, days: int, outcome: str | None = "our_work", position: str | None = None) -> dict[str, Any]:
    reported = DELIVERED + dt.timedelta(days=days)
    return {"original_job": job, "reported": reported, "settled": reported, "outcome": outcome, "position": position}
