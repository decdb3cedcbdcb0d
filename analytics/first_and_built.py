"""Gather how far first trials and accepted readings lie from their targets, placed between their limits."""

from __future__ import annotations

import polars as pl

from analytics.setting_history import SettingHistory

BY = {"family": "family", "technician": "read_by", "instrument": "instrument", "location": "place", "nothing": None}


def first_and_built(setting: SettingHistory) -> pl.DataFrame:
    """Return one row per job, place and stage (first, built) whose reading and limits are on record.

    Columns: job, unit, family, place, quantity, day, technician, instrument, read_by, stage; reading, lower, upper
    (um or mN.m); position (where the reading lies: -1 at the lower limit, +1 at the upper; with one limit only, how
    far inside it in the quantity's unit, the limit at nought), sides (both, lower, upper), outside (bool). Readings of
    an end float that is tight count as outside, not as a position (null). Crush sleeves are left out: they are
    tightened step by step.
    """
    states = (
        setting.bare_states.filter(
            ((pl.col("stage") == "as_built") | ((pl.col("stage") == "trial") & (pl.col("trial") == 1)))
            & pl.col("reading").is_not_null()
            & (pl.col("lower").is_not_null() | pl.col("upper").is_not_null())
            & (pl.col("coordinate") != "total")
        )
        .join(
            setting.places.select("family", "place", "sits"), on=["family", "place"], how="left", maintain_order="left"
        )
        .filter(pl.col("sits") != "crush_sleeve")
    )  # tightened step by step: its first reading is no try at the target
    visits = setting.visits.select("job", "unit", "technician", pl.coalesce("closed", "torn_down").alias("day"))
    low, high, reading = (pl.col(name) for name in ("lower", "upper", "reading"))
    sides = (
        pl.when(low.is_null())
        .then(pl.lit("upper"))
        .when(high.is_null())
        .then(pl.lit("lower"))
        .otherwise(pl.lit("both"))
    )
    both = (2 * reading - low - high) / (high - low)
    position = pl.when(low.is_null()).then(high - reading).when(high.is_null()).then(reading - low).otherwise(both)
    tight = (pl.col("quantity") == "end_float") & (reading <= 0)
    outside = (reading < low).fill_null(False) | (reading > high).fill_null(False)
    return (
        states.join(visits, on="job", how="inner", maintain_order="left")
        .with_columns(
            pl.when(pl.col("stage") == "trial").then(pl.lit("first")).otherwise(pl.lit("built")).alias("stage"),
            sides.alias("sides"), pl.when(tight).then(None).otherwise(position).alias("position"),
            outside.alias("outside"), pl.col("read_by").fill_null("not known"),
            pl.col("instrument").fill_null("not known"),
        )
        .select(
            "job", "unit", "family", "place", "quantity", "day", "technician", "instrument", "read_by", "stage",
            "reading", "lower", "upper", "position", "sides", "outside", "spread", "points",
        )
        .sort("day", "job", "place", "stage", nulls_last=True)
    )  # fmt: skip
