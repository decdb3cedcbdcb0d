"""Give comebacks by the quarter of delivery; young quarters are marked and completed by the reporting delay."""

from __future__ import annotations

import datetime as dt

import numpy as np
import polars as pl

from analytics.comeback_observations import WINDOW_DAYS, durations
from analytics.estimators.interval import TooFew
from analytics.estimators.reporting_delay import complete_cohorts, delay_distribution

QUARTERS_SCHEMA = {
    "group": pl.String, "young": pl.Boolean, "jobs": pl.Int64, "comebacks": pl.Int64, "so_far": pl.Float64,
    "known_by_now": pl.Float64, "share": pl.Float64, "low": pl.Float64, "high": pl.Float64, "said": pl.String,
}  # fmt: skip
METHOD = (
    "Comebacks of each quarter's deliveries, those not yet known added: the delay from delivery to the day it was "
    "reported is estimated in reversed time (only delays that could have been seen by now are on record), each young "
    "quarter's count is divided by the share that would be known by now; 95 % limits of prediction."
)


def by_quarter(frame: pl.DataFrame, as_of: dt.date) -> pl.DataFrame:
    """Return comebacks by quarter of delivery, the newest first. Columns: QUARTERS_SCHEMA.

    `so_far` is known comebacks / jobs delivered; `share` with limits what it will come to within `WINDOW_DAYS`,
    `known_by_now` the share of its comebacks that would be known by now; `young` where that is below 1.
    """
    seen, _ = durations(frame, "end_observed")
    if seen.is_empty():
        return pl.DataFrame(schema=QUARTERS_SCHEMA)
    day = pl.col("delivered")
    named = seen.select(
        pl.format("{} Q{}", day.dt.year(), day.dt.quarter()).alias("group"),
        (pl.lit(as_of) - day).dt.total_days().alias("age"), "came_back", "days",
    )  # fmt: skip
    told = named.group_by("group").agg(
        pl.len().cast(pl.Int64).alias("jobs"), pl.col("came_back").sum().cast(pl.Int64).alias("comebacks"),
        (pl.col("age").min() < WINDOW_DAYS).alias("young"),
    ).sort("group")  # fmt: skip
    told = told.with_columns((pl.col("comebacks") / pl.col("jobs")).alias("so_far"))
    done = told.join(_completed(named, told), on="group", how="left")
    return done.sort("group", descending=True).select(list(QUARTERS_SCHEMA))


def _completed(named: pl.DataFrame, told: pl.DataFrame) -> pl.DataFrame:
    """Return the completed share of the young quarters; an old quarter is what it is."""
    schema = {name: QUARTERS_SCHEMA[name] for name in ("group", "known_by_now", "share", "low", "high", "said")}
    old = told.filter(~pl.col("young"))
    rows: list[tuple[str, float | None, float | None, float | None, float | None, str | None]] = [
        (name, 1.0, share, share, share, None) for name, share in old.select("group", "so_far").iter_rows()
    ]
    young = told.filter("young")
    back = named.filter("came_back")
    curve = delay_distribution(back["days"].to_numpy(), np.minimum(back["age"].to_numpy(), WINDOW_DAYS))
    if isinstance(curve, TooFew):
        rows += [(name, None, None, None, None, str(curve)) for name in young["group"].to_list()]
    elif young.height:
        names = young["group"].to_list()
        cohorts = named.join(young.select("group"), on="group", how="semi")
        code = cohorts["group"].replace_strict({n: i for i, n in enumerate(names)}, return_dtype=pl.Int64)
        within = cohorts.filter(pl.col("came_back") & (pl.col("days") <= curve.horizon))
        counted = dict(within.group_by("group").len().iter_rows())
        found = complete_cohorts(
            curve, code.to_numpy(), cohorts["age"].to_numpy(), [counted.get(name, 0) for name in names]
        )
        jobs = young["jobs"].to_list()
        rows += [
            (names[c], float(found.reported[i]),
             *(min(float(x[i]) / jobs[c], 1.0) for x in (found.estimate, found.lower, found.upper)), None)
            for i, c in enumerate(found.cohort.tolist())
        ]  # fmt: skip
        rows += [(names[c], None, None, None, None, str(said)) for c, said in found.too_few]
    return pl.DataFrame(rows, schema=schema, orient="row")
