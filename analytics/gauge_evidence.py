"""Gather what speaks about each gauge: masters, pairs of gauges, packs, contact patterns."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import polars as pl

from analytics.estimators.arrays import FloatArray
from analytics.estimators.drift_chart import EvidenceStream
from analytics.history import History

LEAST = 12  # readings of one kind about one gauge that it takes to be charted
CHECKS_BESIDE = 5  # last checks on the master by which the other gauge of a pair is put right
MASTER, BESIDE, STRIP, PACKS = "master", "beside another gauge", "strip read with another gauge", "packs of the family"

_CHECKS = """
select instrument, quantity, read_on as day, (value - expected)::double as value
from known_gauge_check where value is not null and expected is not null
order by instrument, quantity, read_on, value
"""
_PAIRS = """
with apart as (  -- one row per job, place, stage and trial read by one technician with two gauges
  select m.job, m.quantity, max(m.known_on) as day, min(m.instrument) as one, max(m.instrument) as other,
    arg_min(m.value, m.instrument)::double as one_read, arg_max(m.value, m.instrument)::double as other_read
  from known_measurement as m
  where m.point is null and m.instrument is not null and m.technician is not null and {read}
  group by m.job, m.quantity, m.location, m.stage, m.trial, m.technician
  having count(*) = 2 and count(distinct m.instrument) = 2
)
select quantity, day, job, one as instrument, other, one_read - other_read as value from apart
union all
select quantity, day, job, other, one, other_read - one_read from apart
order by instrument, other, day, job, value
"""


@dataclass(frozen=True)
class GaugeEvidence:
    """Hold the streams of one gauge and how many readings of each kind there are, also of kinds too few to chart."""

    instrument: str
    quantity: str
    streams: tuple[EvidenceStream, ...]
    counts: dict[str, int]


def gauge_checks(history: History) -> pl.DataFrame:
    """Return readings on the master: instrument, quantity, day, value (error, um or mN.m)."""
    return history.query(_CHECKS)


def gauge_pairs(history: History, after: dt.date | None = None) -> pl.DataFrame:
    """Return readings of one technician with two gauges, seen from each: instrument, other, quantity, day, value."""
    read = "true" if after is None else "m.known_on > $after"
    return history.query(_PAIRS.format(read=read), {} if after is None else {"after": after})


def gauge_evidence(checks: pl.DataFrame, pairs: pl.DataFrame, rows: pl.DataFrame) -> tuple[GaugeEvidence, ...]:
    """Return the evidence about every gauge, sorted by gauge.

    `rows` from `set_rows`. Masters have a known centre: their own value. Pairs: the other gauge is put right by its
    last five checks. Strip: the unit's dimension as built less as found, where it was found with another gauge. Packs:
    the dimension against the family's earlier ones, whatever was accepted: a gauge that reads high moves it, though
    its accepted readings do not show it.
    """
    readers = {*checks.select("instrument", "quantity").iter_rows()}
    readers |= {*rows.filter(pl.col("instrument").is_not_null()).select("instrument", "quantity").iter_rows()}
    found = []
    for instrument, quantity in sorted(readers):
        own = checks.filter((pl.col("instrument") == instrument) & (pl.col("quantity") == quantity))
        beside = _put_right(
            pairs.filter((pl.col("instrument") == instrument) & (pl.col("quantity") == quantity)), checks
        )
        built = rows.filter((pl.col("instrument") == instrument) & (pl.col("quantity") == quantity))
        kinds = {
            MASTER: own.select("day", "value"), BESIDE: beside, STRIP: _strip(built),
            PACKS: _packs(rows.filter(pl.col("quantity") == quantity), instrument),
        }  # fmt: skip
        streams = tuple(
            EvidenceStream(name, _days(frame), frame["value"].to_numpy(), 1.0, 0.0 if name == MASTER else None)
            for name, frame in kinds.items()
            if frame.height >= LEAST and frame["value"].n_unique() > 1
        )
        counts = {name: frame.height for name, frame in kinds.items()}
        found.append(GaugeEvidence(instrument, quantity, streams, counts))
    return tuple(found)


def _days(frame: pl.DataFrame) -> FloatArray:
    return frame["day"].cast(pl.Int32).to_numpy().astype(np.float64)


def _put_right(pairs: pl.DataFrame, checks: pl.DataFrame) -> pl.DataFrame:
    """Return pair differences with what the other gauge read above its master, by its last checks, put back."""
    off = checks.sort("day").with_columns(
        pl.col("value").rolling_mean(CHECKS_BESIDE, min_samples=1).over("instrument", "quantity").alias("off")
    )
    if pairs.is_empty():
        return pl.DataFrame(schema={"day": pl.Date, "value": pl.Float64})
    joined = pairs.sort("day").join_asof(
        off.select("day", "off", pl.col("instrument").alias("other"), "quantity").sort("day"), on="day",
        by=["other", "quantity"], strategy="backward", check_sortedness=False,
    )  # fmt: skip
    return joined.select("day", pl.col("value") + pl.col("off").fill_null(0.0)).sort("day", "value")


def _strip(built: pl.DataFrame) -> pl.DataFrame:
    """Return how far a unit found with another gauge went, the mean so far of its kind taken out."""
    crossed = built.filter(
        pl.col("found_instrument").is_not_null() & (pl.col("found_instrument") != pl.col("instrument"))
        & pl.all_horizontal(pl.col("dimension", "found_dimension", "known_on").is_not_null())
    ).sort("known_on", "job")  # fmt: skip
    went = pl.col("sign") * (pl.col("dimension") - pl.col("found_dimension"))
    return _less_mean_so_far(crossed.with_columns(went.alias("value")), ["family", "bearing", "gear_set"])


def _packs(rows: pl.DataFrame, instrument: str) -> pl.DataFrame:
    """Return each unit's dimension read with the gauge, less the family's mean so far, whoever read it."""
    known = rows.filter(
        pl.col("dimension").is_not_null() & pl.col("known_on").is_not_null() & (pl.col("coordinate") == "pack")
    ).sort("known_on", "job")
    values = _less_mean_so_far(
        known.with_columns((pl.col("sign") * pl.col("dimension")).alias("value")), ["family", "place", "bearing"]
    )
    mine = known.select("known_on", "job", "place", "instrument").rename({"known_on": "day"})
    joined = values.join(mine, on=["day", "job", "place"], how="left", maintain_order="left")
    return joined.filter(pl.col("instrument") == instrument).select("day", "value")


def _less_mean_so_far(frame: pl.DataFrame, kind: list[str]) -> pl.DataFrame:
    count = pl.int_range(pl.len()).over(kind)
    before = (pl.col("value").cum_sum().over(kind) - pl.col("value")) / count
    told = frame.with_columns(pl.when(count >= 3).then(pl.col("value") - before).otherwise(None).alias("value"))
    return told.filter(pl.col("value").is_not_null()).select(pl.col("known_on").alias("day"), "job", "place", "value")
