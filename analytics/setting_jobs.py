"""List the jobs behind rows that Python made."""

from __future__ import annotations

import polars as pl

from analytics.history import History
from analytics.job_list import jobs_behind


def jobs_of_rows(history: History, reasons: pl.DataFrame) -> pl.DataFrame:
    """Return the newest jobs of `reasons` (job, because), one row per job, see `job_list.jobs_behind`."""
    kept = reasons.sort("job", "because")
    return jobs_behind(
        history,
        "select unnest($reason_jobs) as job, unnest($reasons) as because",
        {"reason_jobs": kept["job"].to_list(), "reasons": kept["because"].to_list()},
    )
