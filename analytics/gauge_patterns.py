"""Let contact patterns speak about the depth gauge that set them: they show where the pinion truly runs."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import polars as pl

from analytics.estimators.arrays import FloatArray
from analytics.estimators.cusum_threshold import list_threshold
from analytics.estimators.risk_adjusted_cusum import binary_steps, run_charts
from analytics.history import History

ODDS_RATIO = 3.0  # the worsening watched for: a drift of one standard deviation of a reading about trebles the odds
ALARMS_PER_YEAR = 0.02  # of all pattern charts together: with the drift charts 0.03 a year
FEWEST_BEFORE = 30  # earlier patterns of jobs alike that it takes to say what is ordinary
FEWEST_EVENTS = 5  # of these, patterns off in the sense charted
SENSES = {"reads high": "flank", "reads low": "face"}
"""A gauge that reads high sets the pinion too near the axis: contact low on the tooth, and the other way round."""
REFUSED = "has patterns refused"

_PATTERNS = """
select job, arg_max(drive_profile, trial) as profile, coalesce(arg_max(passed, trial), true) as passed,
  max(known_on) as day
from known_contact_pattern group by job
"""


@dataclass(frozen=True)
class PatternChart:
    """Hold the chart of one gauge in one sense: a place a job with a pattern, in order of becoming known.

    `sense` is what more of its events would say of the gauge (reads high, reads low, patterns refused). `found_on` is
    the day of the first alarm and `since` the day of the likeliest change before it; None without one.
    """

    instrument: str
    sense: str
    days: tuple[dt.date, ...]
    statistic: FloatArray
    threshold: float
    found_on: dt.date | None
    since: dt.date | None


def pattern_rows(history: History, jobs: pl.DataFrame) -> pl.DataFrame:
    """Return the last contact pattern of every job whose depth was set with a gauge, in order of becoming known.

    `jobs`: instrument, quantity, job, gear_set. Columns: instrument, job, day, gear_set, profile, passed.
    """
    read = history.query(_PATTERNS)
    return (
        jobs.filter(pl.col("quantity") == "pinion_depth").select("instrument", "job", "gear_set")
        .join(read, on="job", how="inner", maintain_order="left")
        .filter(pl.col("profile").is_not_null()).sort("day", "job", "instrument")
    )  # fmt: skip


def pattern_charts(rows: pl.DataFrame) -> tuple[PatternChart, ...]:
    """Chart every gauge's patterns in each sense, sorted by gauge and sense, with one threshold for all of them.

    `rows` from `pattern_rows`. A job's chance of a pattern off in a sense is that of earlier jobs alike, whatever the
    gauge: kept and changed gear sets apart, since a kept set goes back to its own reading, in which the gauge's error
    cancels. All charts together raise at most 0.02 false alarms a year of ordinary work.
    Method: risk-adjusted cumulative sums (Steiner, Cook, Farewell & Treasure 2000) for three times the odds;
    threshold with the unsure expectation included (`list_threshold`).
    """
    parts = []
    for sense, event in (*((s, pl.col("profile") == p) for s, p in SENSES.items()), (REFUSED, ~pl.col("passed"))):
        marked = rows.with_columns(event.cast(pl.Int64).alias("event"), pl.lit(sense).alias("sense"))
        before = (pl.col("event").cum_sum() - pl.col("event")).over("gear_set").alias("events")
        seen = pl.int_range(pl.len()).over("gear_set").alias("seen")
        parts.append(
            marked.with_columns(before, seen)
            .filter((pl.col("seen") >= FEWEST_BEFORE) & (pl.col("events") >= FEWEST_EVENTS))
            .with_columns(((pl.col("events") + 0.5) / (pl.col("seen") + 1)).alias("chance"))
        )
    every = pl.concat(parts).sort("instrument", "sense", "day", "job")
    return () if every.is_empty() else _charts(every)


def _charts(told: pl.DataFrame) -> tuple[PatternChart, ...]:
    first, last = told["day"].min(), told["day"].max()
    assert isinstance(first, dt.date)
    assert isinstance(last, dt.date)
    years = max((last - first).days / 365.25, 1.0)
    plan = told.group_by("instrument", "sense", maintain_order=True).agg(
        pl.col("chance").sum() / years, pl.col("chance").mean().alias("mean"), pl.col("events").median(), pl.len()
    )
    limits = list_threshold(
        plan["chance"].to_numpy(), plan["events"].to_numpy(), ODDS_RATIO, plan["mean"].to_numpy(), ALARMS_PER_YEAR
    )
    code = np.repeat(np.arange(plan.height), plan["len"].to_numpy())
    odds = limits.allowance[code] * (told["chance"] / (1 - told["chance"])).to_numpy()
    run = run_charts(code, binary_steps(told["event"].to_numpy(), odds / (1 + odds), ODDS_RATIO), limits.threshold)
    charts = []
    for number, (instrument, sense) in enumerate(plan.select("instrument", "sense").iter_rows()):
        places = np.flatnonzero(code == number)
        days = told["day"].gather(places).to_list()
        alarms = np.flatnonzero(run.alarm[places])
        found = int(alarms[0]) if alarms.size else None
        since = None if found is None else days[int(run.since[places[found]] - places[0])]
        charts.append(
            PatternChart(
                instrument, sense, tuple(days), run.statistic[places], limits.threshold,
                None if found is None else days[found], since,
            )
        )  # fmt: skip
    return tuple(charts)
