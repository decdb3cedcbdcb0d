"""List the jobs behind a figure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import polars as pl

from analytics.history import History

MOST_JOBS = 500


def jobs_behind(history: History, because: str, values: Mapping[str, Any]) -> pl.DataFrame:
    """Return the newest jobs that `because` (SQL giving job, because) names, one row per job.

    Columns: job, unit, family, kind, opened, delivered, technician, fleet, because.
    """
    return history.query(
        f"""
        with reason as (  -- one row per job
          select job, string_agg(distinct because, '; ' order by because) as because from ({because}) group by job
        )
        select j.job, j.unit, u.family, j.kind, j.opened, j.delivered, j.technician, j.fleet, r.because
        from reason as r join known_job as j using (job) join known_unit as u using (unit)
        order by j.opened desc, j.job limit {MOST_JOBS}
        """,
        values,
    )
