"""Let past arrivals stand in for what is not told of a unit, so that silence does not count as a no."""

from __future__ import annotations

from dataclasses import fields

import polars as pl

from analytics.expect_clues import Arrival
from analytics.expect_model import Expectation, predict

LEAST_LIKE = 10  # past arrivals that share what is told, below which only some of it is looked for
MOST_LIKE = 300  # the newest


def expected_of(model: Expectation, past: pl.DataFrame, arrival: Arrival) -> pl.DataFrame:
    """Return what to expect of a unit of which only some things are told, one row per position as `predict` gives it.

    past: earlier arrivals. Method: what is told is put into each like past arrival, which keeps its own of the rest, and
    probability and limits are averaged over them: the expectation over what is not known.
    """
    like = _like(past, arrival)
    if like.is_empty():
        return predict(model, arrival.row())
    found = predict(model, _with_told(like, arrival))
    first = ("component", "gear", "plain", "failed", "inspected")
    return (
        found.group_by("family", "position")
        .agg(pl.col("probability", "low", "high").mean(), pl.col(*first).first())
        .with_columns(pl.lit(0, pl.UInt32).alias("place"))
        .select(found.columns)
        .sort("position")
    )


def _like(past: pl.DataFrame, arrival: Arrival) -> pl.DataFrame:
    """Return the newest arrivals of the family with the complaints told, or without regard to them where they are few."""
    family = past.filter(pl.col("family") == arrival.family)
    told = [pl.col("complaints").list.contains(word) for word in arrival.complaints]
    alike = family.filter(pl.all_horizontal(told)) if told else family
    for like in (alike, family):
        if like.height >= LEAST_LIKE:
            return like.sort("opened", "job", descending=True).head(MOST_LIKE)
    return family.clear()


def _with_told(like: pl.DataFrame, arrival: Arrival) -> pl.DataFrame:
    """Return the arrivals with what is told of this one in place of their own."""
    told = arrival.row()
    named = [
        f.name for f in fields(arrival)
        if getattr(arrival, f.name) not in (None, ()) and f.name not in ("family", "unit_kind")
    ]  # fmt: skip
    missing = [pl.col("complaints").list.contains(word) for word in arrival.complaints]
    if missing and like.filter(pl.all_horizontal(missing)).height == like.height:
        named.remove("complaints")  # they have them, and what else each of them had stays with it
    return like.drop(named).join(told.select(named), how="cross") if named else like
