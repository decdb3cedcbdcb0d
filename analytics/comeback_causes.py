"""Give the share of delivered jobs that come back for each cause, where other causes and other ends compete."""

from __future__ import annotations

import numpy as np
import polars as pl

from analytics.comeback_curves import MINIMUM_AT_RISK
from analytics.comeback_links import first_comebacks
from analytics.comeback_observations import DAYS_PER_MONTH, durations
from analytics.estimators.aalen_johansen import aalen_johansen
from analytics.history import History

CAUSES = {
    "outcome": "outcome", "component": "component", "damage-mode": "damage_mode", "payer": "payer", "scope": "scope",
}  # fmt: skip
MOST_CAUSES = 12
NOT_KNOWN, REST = "not written down", "all others"
AGREED, DECLINED = "in the agreed work", "in what the customer declined"
ENDS = {"retired": "retired before coming back", "opened_elsewhere": "opened elsewhere before coming back"}
METHOD = (
    "Cumulative incidence by cause (Aalen-Johansen), log-log limits, 95 %, by unit: the first comeback counts, other "
    "causes, retirement and another workshop compete; ties meet one risk set. Observation as for all comebacks."
)


def cause_rows(history: History, frame: pl.DataFrame, by: str, months: tuple[int, ...]) -> pl.DataFrame:
    """Return the share come back for each cause by the stated months; the shares of one month add up.

    Columns: group (the cause), ours (false), months, share, low, high, at_risk, jobs, comebacks, said.
    """
    seen, _ = durations(frame, "end_observed")
    seen = _with_cause(seen, first_comebacks(history), CAUSES[by])
    names = _ordered(seen)
    if len(names) > MOST_CAUSES + len(ENDS):
        few = [name for name in names[MOST_CAUSES:] if name not in ENDS.values()]
        seen = seen.with_columns(pl.col("cause").replace(dict.fromkeys(few, REST)))
        names = _ordered(seen)
    code = seen["cause"].replace_strict({n: i + 1 for i, n in enumerate(names)}, default=0, return_dtype=pl.Int64)
    if not names:
        return pl.DataFrame(schema=_SCHEMA)
    fit = aalen_johansen(seen["days"].to_numpy(), code.to_numpy(), len(names), unit=seen["unit_id"].to_numpy())
    counts = np.bincount(code.to_numpy(), minlength=len(names) + 1)
    rows = []
    for cause, name in enumerate(names, start=1):
        at = fit.at(cause, np.array(months) * DAYS_PER_MONTH)
        for m, month in enumerate(months):
            at_risk = int(at.at_risk[0, m])
            limits: list[float | None] = [float(x[0, m]) for x in (at.estimate, at.lower, at.upper)]
            said = None
            if at_risk < MINIMUM_AT_RISK:
                limits, said = [None, None, None], f"too few to say ({at_risk} of {MINIMUM_AT_RISK} still observed)"
            rows.append((name, False, month, *limits, at_risk, seen.height, int(counts[cause]), said))
    return pl.DataFrame(rows, schema=_SCHEMA, orient="row")


_SCHEMA = {
    "group": pl.String, "ours": pl.Boolean, "months": pl.Int64, "share": pl.Float64, "low": pl.Float64,
    "high": pl.Float64, "at_risk": pl.Int64, "jobs": pl.Int64, "comebacks": pl.Int64, "said": pl.String,
}  # fmt: skip


def with_cause(history: History, frame: pl.DataFrame, by: str) -> pl.DataFrame:
    """Return the jobs observed, with `cause`: what their first comeback was for, or what else ended them, or NULL."""
    seen, _ = durations(frame, "end_observed")
    return _with_cause(seen, first_comebacks(history), CAUSES[by])


def _with_cause(seen: pl.DataFrame, first: pl.DataFrame, column: str) -> pl.DataFrame:
    first = first.with_columns(
        pl.when("declined").then(pl.lit(DECLINED)).when(~pl.col("declined")).then(pl.lit(AGREED)).alias("scope")
    )
    told = seen.join(first.select("job_id", pl.col(column).alias("cause")), on="job_id", how="left").sort(
        "unit_id", "job_id"
    )
    ended = (pl.col("ended") <= pl.col("end_observed")).fill_null(value=False)
    return told.with_columns(
        pl.when("came_back")
        .then(pl.col("cause").fill_null(NOT_KNOWN))
        .when(ended)
        .then(pl.col("ended_how").replace(ENDS))
        .alias("cause")
    )


def _ordered(seen: pl.DataFrame) -> list[str]:
    """Return the causes of comebacks, most frequent first, then the other ends."""
    ends = list(ENDS.values())
    counts = seen.filter(pl.col("cause").is_not_null()).group_by("cause").len()
    found = counts.sort(["len", "cause"], descending=[True, False])["cause"].to_list()
    return [*(name for name in found if name not in ends), *(name for name in ends if name in found)]
