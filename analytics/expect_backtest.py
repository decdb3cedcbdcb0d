"""Try the expectations on past jobs: fitted on what was known before a year, asked of the jobs of that year."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import polars as pl

from analytics.estimators.arrays import FloatArray, IntArray
from analytics.estimators.calibration import brier_skill, calibration_slope, reliability
from analytics.estimators.interval import Interval, TooFew
from analytics.expect_model import Strips, fit, predict
from analytics.expect_parts import habits, parts_expected
from analytics.wording import percent

MINIMUM_STRIPS = 60  # to fit on
MOST_YEARS = 4
ORDER_FROM = 0.5  # chance from which a part is put on the list
ANYWAY = 0.5  # a part used so often at sound positions is replaced anyway, and needs no clue


@dataclass(frozen=True)
class OrderList:
    """Hold how a list of parts ordered beforehand came out: on it and used, used at all, on it."""

    hits: int
    needed: int
    listed: int

    @property
    def hit(self) -> float | None:
        """Return the share of what was used that lay ready."""
        return self.hits / self.needed if self.needed else None

    @property
    def waste(self) -> float | None:
        """Return the share of what was ordered that was not used."""
        return 1 - self.hits / self.listed if self.listed else None

    def said(self) -> str:
        """Return both in words."""
        told = [f"{word} {percent(share, 0)}" for word, share in (("hit", self.hit), ("waste", self.waste))
                if share is not None]  # fmt: skip
        return ", ".join(told) or "nothing ordered"


@dataclass(frozen=True)
class Backtest:
    """Hold how the expectations came true: cases (position by position), and lists of parts ordered beforehand.

    failed, stated, plain, unit: (cases). lists: by the clues, and by plain frequencies; parts that are replaced anyway
    are on neither. jobs: strips asked about.
    """

    failed: FloatArray
    stated: FloatArray
    plain: FloatArray
    unit: IntArray
    lists: tuple[OrderList, OrderList]
    jobs: int

    def slope(self) -> Interval | TooFew:
        """Return the calibration slope, 1 where stated probabilities come true."""
        if not len(self.failed):
            return TooFew("cases", 0, 10)
        return calibration_slope(self.failed, self.stated, self.unit)

    def skill(self) -> Interval | TooFew:
        """Return by what share the stated probabilities err less than each family's plain frequency."""
        if not len(self.failed):
            return TooFew("cases", 0, 10)
        return brier_skill(self.failed, self.stated, self.plain, self.unit)

    def bands(self) -> pl.DataFrame:
        """Return what was stated and what happened, in bands: stated, happened, low, high, cases."""
        names = ("stated", "happened", "low", "high", "cases")
        if not len(self.failed):
            return pl.DataFrame(schema=dict.fromkeys(names, pl.Float64))
        found = reliability(self.failed, self.stated)
        values = (found.stated, found.happened, found.lower, found.upper, found.cases)
        return pl.DataFrame(dict(zip(names, values, strict=True)))


def backtest(strips: Strips, used: pl.DataFrame, last: dt.date, years: int = MOST_YEARS) -> Backtest:
    """Return how expectations would have come true in the years up to `last`, each year's fitted on what came before.

    Only jobs of families seen before are asked about. Parts: those fitted at a component position.
    """
    cases, lists = [], []
    jobs = 0
    for year in range(last.year - years + 1, last.year + 1):
        start, end = dt.date(year, 1, 1), dt.date(year + 1, 1, 1)
        known = strips.before(start)
        asked = strips.jobs.with_row_index("old").filter(
            (pl.col("day") >= start) & (pl.col("day") < end)
            & pl.col("family").is_in(known.jobs["family"].unique().implode())
        )  # fmt: skip
        if known.jobs.height < MINIMUM_STRIPS or asked.is_empty():
            continue
        jobs += asked.height
        numbered = asked.with_row_index("place").select("place", "old", "job_id", "unit_id", "family")
        expected = predict(fit(known), asked.drop("old"))
        came = strips.looks.select(pl.col("place").alias("old"), "position", pl.col("failed").alias("came"))
        cases.append(
            expected.join(numbered.drop("family"), on="place")
            .join(came, on=["old", "position"])
            .sort("place", "position")
        )
        lists.append(_lists(known, used, expected, numbered))
    none = pl.DataFrame(
        schema={"came": pl.Float64, "probability": pl.Float64, "plain": pl.Float64, "unit_id": pl.Int64}
    )
    told = pl.concat([frame.select(pl.col(n).cast(t) for n, t in none.schema.items()) for frame in cases] or [none])
    hits, needed, listed, plain_hits, plain_listed = map(sum, zip(*lists, strict=True)) if lists else (0,) * 5
    return Backtest(
        told["came"].to_numpy(), told["probability"].to_numpy(), told["plain"].to_numpy(), told["unit_id"].to_numpy(),
        (OrderList(hits, needed, listed), OrderList(plain_hits, needed, plain_listed)), jobs,
    )  # fmt: skip


def _lists(known: Strips, used: pl.DataFrame, expected: pl.DataFrame, numbered: pl.DataFrame) -> tuple[int, ...]:
    """Return hits, needed, listed, and hits and listed of a list made of plain frequencies."""
    every = habits(known.jobs, known.looks, used)
    anyway = every.filter(pl.col("when_sound") >= ANYWAY).select("family", "part").unique()
    habit = every.join(anyway, on=["family", "part"], how="anti")
    ours = parts_expected(habit, expected)
    plain = parts_expected(habit, expected.with_columns(pl.col("plain").alias("probability")))
    needed = used.join(numbered, on="job_id").join(anyway, on=["family", "part"], how="anti")
    needed = needed.select("place", "part").unique().with_columns(pl.lit(1).alias("used"))
    both = ours.join(plain.select("place", "part", pl.col("probability").alias("by_plain")), on=["place", "part"])
    # What had never been used in the family before is on no list, and counts as needed all the same.
    both = both.join(needed, on=["place", "part"], how="full", coalesce=True)
    is_used = pl.col("used").is_not_null()
    told = both.select(
        hits=((pl.col("probability") >= ORDER_FROM) & is_used).sum(), needed=is_used.sum(),
        listed=(pl.col("probability") >= ORDER_FROM).sum(),
        plain_hits=((pl.col("by_plain") >= ORDER_FROM) & is_used).sum(),
        plain_listed=(pl.col("by_plain") >= ORDER_FROM).sum(),
    )  # fmt: skip
    return tuple(int(value or 0) for value in told.row(0))
