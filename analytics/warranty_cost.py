"""Answer: what do comebacks cost a job that is sold with so many months and kilometres of warranty?"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl
from scipy import special

from analytics.answer import Answer, Assumption, Column
from analytics.comeback_links import LINK, roots
from analytics.comeback_observations import (
    DAYS_PER_MONTH,
    WINDOW_DAYS,
    comeback_observations,
)
from analytics.estimators.arrays import FloatArray, IntArray
from analytics.estimators.mean_cumulative_cost import CumulativeCost, mean_cumulative_cost
from analytics.estimators.multiple_imputation import pool
from analytics.history import History
from analytics.job_list import jobs_behind
from analytics.question import Option, Question
from analytics.typed_number import typed_number

MINIMUM_COMEBACKS, MINIMUM_AT_RISK = 5, 10
IMPUTATIONS = 5
SEED = 20_161_009
COVERED = ("our_work", "part")  # what a warranty pays for, whoever paid in the past
MONTHS_DRAWN = tuple(range(0, 25))
METHOD = (
    "Mean cumulative cost a job (cost of each comeback over the jobs then under observation), comebacks of comebacks "
    "included, by job kind; 95 % limits by unit. A comeback costs what it cost the workshop after supplier credits; "
    "one by our work or for a part that the customer paid, or whose cost is not written down, costs the mean of its "
    "kind under warranty, so that a longer warranty than was sold can be priced from the units that are followed. Distance "
    "at a comeback is read, or the unit's pace times the time; unknown paces are drawn, and that is in the limits."
)


@dataclass(frozen=True)
class _Sold:
    """Hold jobs sold (jobs of their own, no comebacks) and the comebacks of each, chains counted to the first job."""

    jobs: pl.DataFrame
    events: pl.DataFrame
    filled_in: int


def warranty_cost(history: History, options: Mapping[str, str]) -> Answer:
    """Return the expected cost of comebacks a job for so many months and kilometres of warranty, by job kind.

    Rows: kind, cost with low and high (money a job), comebacks (a job), cost_each (mean of a comeback), events, jobs,
    at_risk (jobs still observed at the end), beyond (share of the cost that lies beyond the warranty that was sold),
    said. Curves: "months" (at, cost, low, high of all jobs). Raises QuestionError for months or km out of range.
    """
    months, km = _months(options["months"]), _kilometres(options.get("km"))
    sold = _sold(history)
    rows = pl.DataFrame([_row(sold, kind, months, km) for kind in _kinds(sold.jobs)], schema=SCHEMA, orient="row")
    sentence, number, about = _sentence(rows, months, km)
    return Answer(
        question="warranty-cost",
        as_of=history.as_of,
        warehouse_version=history.warehouse.version,
        filters=history.scope.filters(),
        sentence=sentence,
        number=number,
        number_about=about,
        method=METHOD,
        grain="one row per job kind",
        rows=rows,
        columns=COLUMNS,
        notes=("An expected cost a job, to be put into its price; single comebacks cost many times as much.",),
        assumptions=_ledger(sold, months, rows),
        curves={"months": _by_months(sold, km)},
    )


def _sold(history: History) -> _Sold:
    """Return the jobs sold with the end of their observation, and their comebacks with what each costs us."""
    frame = comeback_observations(
        history, names=("job", "kind"), columns=("odometer_m", "metres_a_day", "end_observed", "warranty_end")
    )
    links = history.query(_LINKS)
    every = {job for job in links["comeback_job"].to_list() if job}
    jobs = frame.filter(
        ~pl.col("job").is_in(pl.Series(sorted(every), dtype=pl.String).implode())
        & (pl.col("end_observed") >= pl.col("delivered"))
    ).with_columns((pl.col("end_observed") - pl.col("delivered")).dt.total_days().alias("days"))
    root = roots(links)
    events = links.with_columns(
        pl.col("original_job").replace_strict(root, default=pl.col("original_job")).alias("job")
    ).join(jobs.with_row_index("place").select(
        "job", "place", "delivered", "days", "warranty_end", "metres_a_day", "unit_id",
        pl.col("odometer_m").alias("start_m"), "kind",
    ), on="job")  # fmt: skip
    events = events.with_columns(
        (pl.col("reported") - pl.col("delivered")).dt.total_days().alias("at"),
        (pl.col("reported") <= pl.col("warranty_end")).alias("in_warranty"),
    ).filter((pl.col("at") >= 0) & (pl.col("at") <= pl.col("days")) & (pl.col("at") <= WINDOW_DAYS))
    events, filled_in = _costed(events)
    return _Sold(jobs, events.sort("place", "at", "comeback_job", "original_job"), filled_in)


_LINKS = f"""
with {LINK}, credit as (
  select job, sum(amount_cents) as cents from known_money_line where money_kind = 'supplier_credit' group by job
)
select k.original_job, k.comeback_job, k.reported, k.outcome, k.payer, k.odometer_m as reported_m,
  (k.cost_cents - coalesce(c.cents, 0)) / 100.0 as net
from link as k left join credit as c on c.job = k.comeback_job
order by k.original_job, k.reported, k.comeback_job
"""


def _costed(events: pl.DataFrame) -> tuple[pl.DataFrame, int]:
    """Add what each comeback costs us under a warranty: as recorded, or the mean of its outcome under warranty.

    `cost` and `spread`, the variance of a mean that was filled in (0 where recorded).
    """
    covered = pl.col("outcome").is_in(COVERED)
    paid_by_us = pl.col("in_warranty") & ~(pl.col("payer") == "customer").fill_null(value=False)
    recorded = (pl.col("net").is_not_null() & (~covered | paid_by_us)).fill_null(value=False)
    known = events.filter(recorded)
    net = np.sort(known["net"].to_numpy())
    overall = (float(np.mean(net)), float(np.var(net)) / len(net)) if len(net) else (0.0, 0.0)
    # Summed in order of size, so that the last digit does not hang on the order of rows.
    rows = [
        (outcome, float(np.mean(values)), float(np.var(values, ddof=1)) / len(values) if len(values) > 1 else None)
        for (outcome,), part in sorted(known.partition_by("outcome", as_dict=True).items(), key=lambda one: str(one[0]))
        for values in [np.sort(part["net"].to_numpy())]
    ]
    means = pl.DataFrame(rows, schema={"outcome": pl.String, "mean": pl.Float64, "spread": pl.Float64}, orient="row")
    told = events.join(means, on="outcome", how="left").with_columns(recorded.alias("recorded"))
    told = told.with_columns(
        pl.when("recorded").then("net").otherwise(pl.col("mean").fill_null(overall[0])).alias("cost"),
        pl.when("recorded").then(0.0).otherwise(pl.col("spread").fill_null(overall[1])).alias("spread"),
    )
    return told, int((~told["recorded"]).sum())


def _kinds(jobs: pl.DataFrame) -> list[str | None]:
    counts = jobs.group_by("kind").len().sort(["len", "kind"], descending=[True, False])
    return [None, *counts["kind"].to_list()] if jobs.height else []


def _row(sold: _Sold, kind: str | None, months: float, km: float | None) -> tuple[object, ...]:
    jobs, events = _of_kind(sold, kind)
    found, total, low, high = _cost(jobs, events, np.array([months * DAYS_PER_MONTH]), km)
    name, counted, at_risk = kind or "all", int(found.events[0]), int(found.at_risk[0])
    costed = int(sold.events["recorded"].sum())
    for few, least, what in (
        (counted, MINIMUM_COMEBACKS, "comebacks"),
        (at_risk, MINIMUM_AT_RISK, "jobs still observed"),
        (costed, MINIMUM_COMEBACKS, "comebacks with a cost on record"),
    ):
        if few >= least:
            continue
        said = f"too few to say ({few} of {least} {what})"
        return (name, None, None, None, None, None, counted, jobs.height, at_risk, None, said)
    plain = _mean(jobs, events.with_columns(pl.lit(1.0).alias("cost")), np.array([months * DAYS_PER_MONTH]), km, 0)
    inside = _mean(jobs, events.filter("in_warranty"), np.array([months * DAYS_PER_MONTH]), km, 0)
    each = float(total[0] / plain.mean[0]) if plain.mean[0] > 0 else None
    beyond = max(1 - float(inside.mean[0] / total[0]), 0.0) if total[0] > 0 else None
    return (
        name, float(total[0]), float(low[0]), float(high[0]), float(plain.mean[0]), each, counted, jobs.height, at_risk,
        beyond, None,
    )  # fmt: skip


def _of_kind(sold: _Sold, kind: str | None) -> tuple[pl.DataFrame, pl.DataFrame]:
    jobs = sold.jobs.with_row_index("old")
    if kind is not None:
        jobs = jobs.filter(pl.col("kind") == kind)
    jobs = jobs.with_row_index("new")
    events = sold.events.join(jobs.select(pl.col("old").alias("place"), "new"), on="place", maintain_order="left")
    return jobs, events.with_columns(pl.col("new").alias("place"))


def _cost(
    jobs: pl.DataFrame, events: pl.DataFrame, days: FloatArray, km: float | None
) -> tuple[CumulativeCost, FloatArray, FloatArray, FloatArray]:
    """Return the mean cost by days with limits, unknown distances and filled-in costs included."""
    draws = [_mean(jobs, events, days, km, draw) for draw in range(IMPUTATIONS if km is not None else 1)]
    first = draws[0]
    filled = np.array([_filled_in(jobs, events, day, km) for day in days.tolist()])
    if len(draws) == 1:
        mean, variance = first.mean, first.variance + filled
        z = np.full(len(mean), float(special.ndtri(0.975)))
    else:
        both = pool(np.stack([d.mean for d in draws]), np.stack([d.variance for d in draws]) + filled)
        mean, variance = both.estimate, both.variance
        z = np.asarray(special.stdtrit(both.freedom, 0.975), dtype=np.float64)
    known = mean > 0
    width = np.exp(z * np.sqrt(variance) / np.where(known, mean, 1.0))
    return first, mean, np.where(known, mean / width, 0.0), np.where(known, mean * width, 0.0)


def _mean(jobs: pl.DataFrame, events: pl.DataFrame, days: FloatArray, km: float | None, draw: int) -> CumulativeCost:
    counted = events if km is None else events.filter(pl.Series(_metres(events, draw) <= km * 1000, dtype=pl.Boolean))
    return mean_cumulative_cost(
        jobs["days"].to_numpy(), jobs["unit_id"].to_numpy(), counted["place"].cast(pl.Int64).to_numpy(),
        counted["at"].to_numpy(), counted["cost"].to_numpy(), days,
    )  # fmt: skip


def _filled_in(jobs: pl.DataFrame, events: pl.DataFrame, day: float, km: float | None) -> float:
    """Return the variance that means filled in for costs add: those of one outcome move together."""
    part = events.filter(~pl.col("recorded") & (pl.col("at") <= day))
    ends = np.sort(jobs["days"].to_numpy())
    weight = 1 / np.maximum(len(ends) - np.searchsorted(ends, part["at"].to_numpy(), side="left"), 1)
    told = part.with_columns(pl.Series("weight", weight))
    total = 0.0
    for _, mine in sorted(told.partition_by("outcome", as_dict=True).items(), key=lambda one: str(one[0])):
        total += float(np.sum(np.sort(mine["weight"].to_numpy()))) ** 2 * float(mine["spread"][0] or 0.0)
    return total


def _metres(events: pl.DataFrame, draw: int) -> FloatArray:
    """Return metres run at each comeback: read, or the unit's pace times the time, or a drawn pace times it."""
    own = events["metres_a_day"].cast(pl.Float64).fill_null(float("nan")).to_numpy()
    known = np.log(own[~np.isnan(own)])
    middle, spread = (float(np.median(known)), float(np.std(np.sort(known)))) if len(known) else (math.log(50_000), 0.5)
    units: IntArray = events["unit_id"].cast(pl.Int64).to_numpy()
    distinct, place = np.unique(units, return_inverse=True)
    drawn = np.exp(middle + spread * np.random.default_rng([SEED, draw]).standard_normal(len(distinct)))[place]
    pace = np.where(np.isnan(own), drawn, own)
    read = (events["reported_m"] - events["start_m"]).cast(pl.Float64).fill_null(-1.0).to_numpy()
    return np.asarray(np.where(read >= 0, read, pace * events["at"].to_numpy()), dtype=np.float64)


def _by_months(sold: _Sold, km: float | None) -> pl.DataFrame:
    schema = {"at": pl.Float64, "cost": pl.Float64, "low": pl.Float64, "high": pl.Float64, "at_risk": pl.Int64}
    if sold.jobs.is_empty():
        return pl.DataFrame(schema=schema)
    jobs, events = _of_kind(sold, None)
    found, total, low, high = _cost(jobs, events, np.array(MONTHS_DRAWN) * DAYS_PER_MONTH, km)
    frame = pl.DataFrame(
        {"at": [float(m) for m in MONTHS_DRAWN], "cost": total, "low": low, "high": high,
         "at_risk": found.at_risk.astype(np.int64)}, schema=schema,
    )  # fmt: skip
    return frame.filter(pl.col("at_risk") >= MINIMUM_AT_RISK)


def _sentence(rows: pl.DataFrame, months: float, km: float | None) -> tuple[str, str, str]:
    limit = f"{months:g} months" + (f" or {km:,.0f} km" if km is not None else "")
    if rows.is_empty():
        return "No job was delivered in this scope.", "", ""
    top = rows.row(0, named=True)
    if top["cost"] is None:
        return f"{top['said'][0].upper()}{top['said'][1:]}.", "", ""
    sentence = (
        f"With {limit} of warranty comebacks cost {top['cost']:,.0f} a job ({top['low']:,.0f} to {top['high']:,.0f}), "
        f"{top['comebacks']:.2f} comebacks of {top['cost_each']:,.0f} each, after supplier credits."
    )
    return sentence, f"{top['cost']:,.0f}", f"expected cost of comebacks a job, {limit}"


def _ledger(sold: _Sold, months: float, rows: pl.DataFrame) -> tuple[Assumption, ...]:
    events = sold.events
    beyond = rows["beyond"][0] if rows.height else None
    moves = f"{100 * beyond:.0f} % of the cost lies beyond what was sold" if beyond is not None else None
    return (
        Assumption("Jobs sold; comebacks are counted to the job they began with", sold.jobs.height, None),
        Assumption("Comebacks within 24 months and while observed, within the warranty sold and beyond it",
                   int(events["in_warranty"].sum()), int((~events["in_warranty"]).sum()),
                   "as many months as were sold", moves),
        Assumption("Cost as recorded; filled in with the mean of the outcome under warranty",
                   events.height - sold.filled_in, sold.filled_in),
    )  # fmt: skip


def _months(text: str) -> float:
    return typed_number(text, "months", "a number of months up to 24", lambda months: 0 < months <= 24)


def _kilometres(text: str | None) -> float | None:
    if not text:
        return None
    return typed_number(text, "km", "a distance in km such as 40000", lambda km: 0 < km <= 1_000_000)


SCHEMA = {
    "kind": pl.String, "cost": pl.Float64, "low": pl.Float64, "high": pl.Float64, "comebacks": pl.Float64,
    "cost_each": pl.Float64, "events": pl.Int64, "jobs": pl.Int64, "at_risk": pl.Int64, "beyond": pl.Float64,
    "said": pl.String,
}  # fmt: skip
COLUMNS = (
    Column("kind", "Job kind"),
    Column("cost", "Cost a job", "expected cost of comebacks a job, after supplier credits", "money"),
    Column("low", "from", "lower 95 % limit", "money"),
    Column("high", "to", "upper 95 % limit", "money"),
    Column("comebacks", "Comebacks a job", "comebacks of comebacks included"),
    Column("cost_each", "Cost of each", "mean cost of a comeback to us", "money"),
    Column("beyond", "Beyond what was sold", "share of the cost after the warranty that was sold had ended", "share"),
    Column("events", "Comebacks (count)"),
    Column("jobs", "Jobs sold"),
    Column("at_risk", "Still observed", "jobs still observed at the end of the months"),
    Column("said", "If too few"),
)


def _jobs_behind(history: History, row: Mapping[str, str]) -> pl.DataFrame:
    sold, kind = _sold(history), row.get("kind", "all")
    _, events = _of_kind(sold, None if kind == "all" else kind)
    events = events.filter(pl.col("at") <= _months(row["months"]) * DAYS_PER_MONTH)
    words = [
        f"came back on {told['reported']}: cost {told['cost']:,.0f}{'' if told['recorded'] else ' (mean of its kind)'}"
        for told in events.iter_rows(named=True)
    ]
    return jobs_behind(
        history,
        "select unnest($jobs) as job, unnest($words) as because",
        {"jobs": events["job"].to_list(), "words": words},
    )


WARRANTY_COST = Question(
    name="warranty-cost",
    about="What comebacks cost a job sold with so many months and kilometres of warranty, by job kind",
    for_whom="owner",
    ask=warranty_cost,
    options=(
        Option("months", "months of warranty, up to 24", default="12"),
        Option("km", "kilometres of warranty; none where left empty"),
    ),
    jobs_behind=_jobs_behind,
)
