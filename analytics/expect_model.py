"""Fit how likely each component position is found failed, from what is known at arrival."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import polars as pl
from scipy import special

from analytics.estimators.arrays import FloatArray, IntArray
from analytics.estimators.penalised_logistic import LogisticFit, ridge_logistic
from analytics.expect_clues import arrivals, clue_matrix, used_clues
from analytics.history import History

MINIMUM_FAILED = 10  # of a component, over all families, below which only its plain frequency is given
FAMILY_STRIPS = 4.0  # strips' worth by which a family's frequency is drawn to the component's
PENALTIES = (40.0, 160.0)  # positions of one job share its clues, so that single rows left out ask for too little
SAME_GEAR = ("complaint in its gear", "complaint in another gear")

MOST_STRIPS = 2000  # the newest, so that a large workshop asks as quickly as a small one

_FINDINGS = f"""
with looked as (select distinct job_id from known_finding where failed is not null),
strip as (  -- one row per full strip
  select job_id from known_visit semi join looked using (job_id) where full_strip
  order by opened desc, job_id desc limit {MOST_STRIPS}
)
select f.job_id, f.position, p.component, p.gear, bool_or(f.failed) as failed
from known_finding as f semi join strip using (job_id) join known_position as p using (position_id)
where f.failed is not null and p.component is not null
group by all order by job_id, position
"""


@dataclass(frozen=True)
class Strips:
    """Hold the full strips on record: jobs (one row per strip), and looks (one row per strip and position).

    looks: place (of its job), family, position, component, gear, failed.
    """

    jobs: pl.DataFrame
    looks: pl.DataFrame

    def before(self, day: dt.date) -> Strips:
        """Return the strips whose findings were known before a day."""
        kept = self.jobs.with_row_index("old").filter(pl.col("day") < day).with_row_index("place")
        looks = self.looks.rename({"place": "old"}).join(kept.select("old", "place"), on="old")
        return Strips(kept.drop("old", "place"), looks.drop("old").sort("place", "position"))


@dataclass(frozen=True)
class Expectation:
    """Hold fitted models by component, the clues they use, and the plain frequency of each family and position."""

    clues: list[str]
    fits: dict[str, LogisticFit]
    plain: pl.DataFrame


def full_strips(history: History) -> Strips:
    """Return every full strip whose findings are known."""
    findings = history.query(_FINDINGS)
    numbers = findings["job_id"].unique().sort().to_list()
    jobs = arrivals(history, "j.job_id in (select unnest($strips))", {"strips": numbers}).sort("job_id")
    looks = findings.join(jobs.with_row_index("place").select("job_id", "place", "family"), on="job_id")
    return Strips(jobs, looks.drop("job_id").sort("place", "position"))


def fit(strips: Strips) -> Expectation:
    """Fit each component on all strips: log odds = those of the family's position plus what the clues add.

    Method: ridge logistic regression with the plain frequency as offset, penalty by cases left out; a family's
    frequency is drawn to the component's by four strips' worth. Components with too few failed keep the frequency.
    """
    clues = used_clues(strips.jobs)
    matrix, plain = clue_matrix(strips.jobs, clues), _plain(strips.looks)
    told = strips.looks.join(plain.select("family", "position", "plain"), on=["family", "position"], how="left",
                             maintain_order="left")  # fmt: skip
    gears = strips.jobs["gears"].to_list()
    fits = {}
    for (component,), part in told.partition_by("component", as_dict=True, maintain_order=True).items():
        failed = part["failed"].to_numpy().astype(float)
        if failed.sum() < MINIMUM_FAILED or (1 - failed).sum() < MINIMUM_FAILED:
            continue
        columns = _columns(matrix, part["place"].to_numpy(), gears, part["gear"].to_list())
        fits[str(component)] = ridge_logistic(
            columns, failed, offset=special.logit(part["plain"].to_numpy()), penalties=PENALTIES
        )
    return Expectation(clues, fits, plain)


def predict(model: Expectation, jobs: pl.DataFrame) -> pl.DataFrame:
    """Return one row per job (its place) and position of its family: place, position, component, probability.

    Columns also: low, high (95 % limits of the probability), plain (the family's frequency), failed, inspected.
    """
    numbered = jobs.with_row_index("place").select("place", "family")
    told = numbered.join(model.plain, on="family").sort("place", "position")
    matrix, gears = clue_matrix(jobs, model.clues), jobs["gears"].to_list()
    probability = told["plain"].to_numpy().copy()
    # Where no model is fitted: those of the drawn frequency, a beta distribution worth the strips it rests on.
    worth = told["inspected"].to_numpy() + FAMILY_STRIPS
    low, high = (special.betaincinv(probability * worth, (1 - probability) * worth, q) for q in (0.025, 0.975))
    component = told["component"].to_numpy()
    for name, found in model.fits.items():
        mine = np.flatnonzero(component == name)
        if not len(mine):
            continue
        part = told[mine]
        columns = _columns(matrix, part["place"].to_numpy(), gears, part["gear"].to_list())
        limits = found.predict(columns, special.logit(part["plain"].to_numpy()))
        probability[mine], low[mine], high[mine] = limits.estimate, limits.lower, limits.upper
    return told.with_columns(pl.Series("probability", probability), pl.Series("low", low), pl.Series("high", high))


def _plain(looks: pl.DataFrame) -> pl.DataFrame:
    """Return the frequency of each family and position, drawn to that of the component: plain, failed, inspected."""
    counted = looks.group_by("family", "position", "component", "gear").agg(
        pl.col("failed").sum().cast(pl.Int64), pl.len().cast(pl.Int64).alias("inspected")
    )
    every = pl.col("failed").sum().over("component"), pl.col("inspected").sum().over("component")
    share = (every[0] + 0.5) / (every[1] + 1)
    return counted.with_columns(
        ((pl.col("failed") + FAMILY_STRIPS * share) / (pl.col("inspected") + FAMILY_STRIPS)).alias("plain")
    ).sort("family", "position")


def _columns(matrix: FloatArray, place: IntArray, gears: list[list[str] | None], gear: list[str | None]) -> FloatArray:
    """Return clues, and whether a complaint of a gear is of the position's own gear or of another."""
    own, other = np.zeros(len(place)), np.zeros(len(place))
    for row, (job, mine) in enumerate(zip(place.tolist(), gear, strict=True)):
        named = gears[job]
        if named and mine is not None:
            own[row], other[row] = float(mine in named), float(mine not in named)
    return np.column_stack([matrix[place], own, other])
