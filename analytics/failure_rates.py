"""Answer: how often is each component position found failed when the unit is fully stripped?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import polars as pl

from analytics.answer import Answer, Assumption, Column
from analytics.estimators.interval import Intervals
from analytics.estimators.poisson_rate import cluster_rate
from analytics.estimators.proportion import cluster_wilson, effective_inspected, effective_wilson
from analytics.estimators.proportion_trend import proportion_trend
from analytics.failure_counts import CARRY, GROUPS, KEYS, FailureCounts, failure_counts, findings_view, scoped
from analytics.history import History
from analytics.job_list import jobs_behind
from analytics.question import Option, Question
from analytics.register_exposure import REGISTER_EXPOSURE, exposure_meaningful
from analytics.scope_sql import conditions
from analytics.wording import between, percent

MINIMUM_INSPECTED = 10
METHOD = (
    "Failed / inspected in full strips; 95 % score interval (Wilson) at the effective number of findings, because one "
    "unit can be inspected several times. Failed means graded 3 or 4, or written down as cause or as found failed; "
    "never inferred from 'replaced'."
)


def failure_rates(history: History, options: Mapping[str, str]) -> Answer:
    """Return failed / inspected per component position (or per group), with intervals, trend and rate per distance.

    Rows: family, position, component, group; failed, inspected, rate, rate_low, rate_high (shares, 95 %); said (words
    where too few); units (that tell how alike findings of one unit are), alike (how many findings of its own unit a
    finding has beside it on average, itself counted); trend_per_year with limits (factor on the odds); resting_on_habit
    (findings that a declared habit implies); part_failed, part_inspected (part strips, where only what is suspected
    is inspected); per_100000_km with limits, exposure_km. Denominator: positions inspected in full strips.
    """
    by = options["by"]
    counts = failure_counts(history, by)
    rows = _with_rates(_summed(counts), counts.by_unit)
    rows = _with_trend(by, rows, counts.yearly)
    rows = _with_distance(history, by, rows)
    rows = rows.sort(
        pl.col("rate_low").fill_null(-1.0), pl.col("failed"), "family", "position", "component", "group",
        descending=[True, True, False, False, False, False], nulls_last=True,
    )  # fmt: skip
    sentence, number, about = _sentence(rows, by)
    return Answer(
        question="failure-rates",
        as_of=history.as_of,
        warehouse_version=history.warehouse.version,
        filters=history.scope.filters(),
        sentence=sentence,
        number=number,
        number_about=about,
        method=METHOD,
        grain=f"one row per {' and '.join(GROUPS[by])}",
        rows=rows,
        columns=_columns(by),
        notes=_notes(rows),
        assumptions=_ledger(counts),
        curves={"by_year": _by_year(history)},
    )


def _summed(counts: FailureCounts) -> pl.DataFrame:
    """Return one row per group in which something was inspected."""
    names = ("failed", "inspected", "resting_on_habit", "part_failed", "part_inspected")
    return (
        counts.yearly.group_by(KEYS, maintain_order=True)
        .agg(*(pl.col(name).sum() for name in names))
        .filter(pl.col("inspected") + pl.col("part_inspected") > 0)
        .join(
            counts.by_unit.select(*KEYS, "units", "nn", "n"),
            on=KEYS,
            how="left",
            nulls_equal=True,
            maintain_order="left",
        )
        .with_columns(pl.col("units").fill_null(0), (pl.col("nn") / pl.col("n")).fill_null(1.0).alias("alike"))
        .drop("nn", "n")
    )


def _with_rates(counted: pl.DataFrame, by_unit: pl.DataFrame) -> pl.DataFrame:
    enough = counted["inspected"].to_numpy() >= MINIMUM_INSPECTED
    some = counted.filter(pl.Series(enough))
    found = _interval(
        some.select(*KEYS, "failed", "inspected").join(
            by_unit, on=KEYS, how="left", nulls_equal=True, maintain_order="left"
        )
    )
    limits = {
        name: _spread(enough, values)
        for name, values in (("rate", found.estimate), ("rate_low", found.lower), ("rate_high", found.upper))
    }
    said = [
        None if ok else f"too few to say ({n} of {MINIMUM_INSPECTED} inspected)"
        for ok, n in zip(enough, counted["inspected"], strict=True)
    ]
    return counted.with_columns(
        *(pl.Series(name, values, dtype=pl.Float64) for name, values in limits.items()),
        pl.Series("said", said, dtype=pl.String),
    )


def _interval(sums: pl.DataFrame) -> Intervals:
    """Return the interval of failed / inspected; what the units counted one by one say of their likeness goes for all."""
    failed, inspected = (sums[name].to_numpy() for name in ("failed", "inspected"))
    x, n, units, xx, xn, nn = (sums[name].to_numpy() for name in ("x", "n", "units", "xx", "xn", "nn"))
    effective = effective_inspected(x, n, units, xx, xn, nn)
    return effective_wilson(failed, inspected, np.where(n == inspected, effective, effective * (inspected / n)))


def _spread(
    where: np.ndarray[Any, np.dtype[np.bool_]], values: np.ndarray[Any, np.dtype[np.float64]]
) -> list[float | None]:
    """Return `values` laid out at the places where `where` is true, None elsewhere."""
    supply = iter(values.tolist())
    return [next(supply) if ok else None for ok in where]


def _with_trend(by: str, rows: pl.DataFrame, tallies: pl.DataFrame) -> pl.DataFrame:
    """Add the factor by which the odds of failed move a year, where there are years enough."""
    names = ["trend_per_year", "trend_low", "trend_high"]
    empty = rows.with_columns(*(pl.lit(None, dtype=pl.Float64).alias(name) for name in names))
    yearly = tallies.filter(pl.col("inspected") > 0)
    if by == "year" or yearly.is_empty():
        return empty
    years = sorted(yearly["year"].unique().to_list())
    grid = rows.select(KEYS).join(pl.DataFrame({"year": years}, schema={"year": yearly.schema["year"]}), how="cross")
    table = grid.join(
        yearly.select(*KEYS, "year", "failed", "inspected"),
        on=[*KEYS, "year"],
        how="left",
        nulls_equal=True,
        maintain_order="left",
    ).fill_null(0)
    shape = (rows.height, len(years))
    x, n = (table[c].to_numpy().reshape(shape) for c in ("failed", "inspected"))
    effect = np.maximum(rows["alike"].to_numpy(), 1.0)
    trend = proportion_trend(x, n, np.array(years, dtype=float), effect)
    columns = []
    for name, found in zip(names, (trend.odds_ratio, trend.lower, trend.upper), strict=True):
        laid: list[float | None] = [None] * rows.height
        for place, value in zip(trend.group.tolist(), found.tolist(), strict=True):
            laid[place] = value
        columns.append(pl.Series(name, laid, dtype=pl.Float64))
    return rows.with_columns(*columns)


def _with_distance(history: History, by: str, rows: pl.DataFrame) -> pl.DataFrame:
    """Add failures per 100,000 km of units on a fleet's register, where their distance is known."""
    names = ["exposure_km", "per_100000_km", "per_100000_km_low", "per_100000_km_high"]
    empty = rows.with_columns(*(pl.lit(None, dtype=pl.Float64).alias(name) for name in names))
    if by != "position" or not exposure_meaningful(history.scope):
        return empty
    where, values = conditions(
        history.scope, {"family": "u.family", "fleet": "e.fleet", "position": "p.position", "component": "p.component"}
    )
    found = history.query(
        f"""
        with {REGISTER_EXPOSURE},
        failure as (  -- one row per position and registered unit with failures
          select f.family, f.position, f.unit, count(*) as x
          from known_component_finding as f join exposure as e using (unit)
          where f.failed and f.opened > e.first_day and f.opened <= e.last_day
          group by all
        ),
        by_unit as (  -- one row per position and registered unit
          select u.family, p.position, p.component, e.unit, e.distance_m / 1e8 as e, coalesce(f.x, 0) as x
          from exposure as e
          join known_unit as u using (unit)
          join known_position as p on p.family = u.family
          left join failure as f on f.family = u.family and f.position = p.position and f.unit = e.unit
          where {where}
        )
        select family, position, sum(x)::bigint as x, sum(e) as e, count(*) as k, sum(x * x)::double as xx,
          sum(x * e) as xe, sum(e * e) as ee
        from by_unit group by all having sum(e) > 0 order by all
        """,
        values,
    )
    if found.is_empty():
        return empty
    x, e, k, xx, xe, ee = (found[name].to_numpy() for name in ("x", "e", "k", "xx", "xe", "ee"))
    rate = cluster_rate(x, e, k, xx, xe, ee)
    table = found.select(
        "family", "position", (pl.col("e") * 1e5).alias("exposure_km"),
        pl.Series("per_100000_km", rate.estimate), pl.Series("per_100000_km_low", rate.lower),
        pl.Series("per_100000_km_high", rate.upper),
    )  # fmt: skip
    return rows.join(table, on=["family", "position"], how="left", maintain_order="left")


def _by_year(history: History) -> pl.DataFrame:
    """Return failed / inspected per year over the whole scope."""
    where, values = scoped(history)
    found = history.query(
        f"""
        with carried as (  -- one row per year and unit; two counts in one number, as in `failure_counts`
          select year(opened) as year, unit_id, sum(1 + if(failed, {CARRY}, 0))::bigint as carried
          from {findings_view(history)} where {where} and failed is not null and full_strip group by all
        ),
        by_unit as (select year, carried % {CARRY} as n, carried // {CARRY} as x from carried)
        select year, sum(x)::bigint as failed, sum(n)::bigint as inspected, count(*) as units,
          sum(x * x)::double as xx, sum(x * n)::double as xn, sum(n * n)::double as nn
        from by_unit group by year order by year
        """,
        values,
    )
    x, n, units, xx, xn, nn = (found[name].to_numpy() for name in ("failed", "inspected", "units", "xx", "xn", "nn"))
    interval = cluster_wilson(x, n, units, xx, xn, nn)
    return found.select(
        "year", "failed", "inspected", pl.Series("rate", interval.estimate), pl.Series("low", interval.lower),
        pl.Series("high", interval.upper),
    )  # fmt: skip


def _named(row: Mapping[str, Any], by: str) -> str:
    if by == "position":
        return f"{row['position']} of {row['family']}"
    parts = [str(row[name]).replace("_", " ") for name in ("family", "component") if row[name] is not None]
    return ", ".join([*parts, *([str(row["group"])] if row["group"] is not None else [])])


def _sentence(rows: pl.DataFrame, by: str) -> tuple[str, str, str]:
    told = rows.filter(pl.col("rate").is_not_null())
    if rows.is_empty():
        return "No component position was inspected in this scope.", "", ""
    if told.is_empty():
        best = max(rows["inspected"].to_list())
        return f"Too few to say ({best} of {MINIMUM_INSPECTED} inspected in full strips).", "", ""
    top = told.row(0, named=True)
    rate = percent(top["rate"])
    name = _named(top, by)
    sentence = (
        f"{name[0].upper()}{name[1:]} leads what we find failed: in {rate} of full strips "
        f"({top['failed']} of {top['inspected']}; {between(top['rate_low'], top['rate_high'])})."
    )
    return sentence, rate, f"of full strips find {name} failed"


def _notes(rows: pl.DataFrame) -> tuple[str, ...]:
    notes = []
    if rows.height > 1:
        notes.append(
            f"Rows are ordered by their lower limit, so that small numbers do not lead; the first of {rows.height} is "
            "picked because it is large and will read lower next time."
        )
    if not rows.is_empty() and rows["exposure_km"].is_null().all():
        notes.append("No rate per 100,000 km: no fleet's register gives the distance run in this scope.")
    return tuple(notes)


def _ledger(counts: FailureCounts) -> tuple[Assumption, ...]:
    named = {"counted": "inspected", "part": "part_inspected", "unknown": "unknown", "failed": "failed",
             "habit": "resting_on_habit", "part_failed": "part_failed"}  # fmt: skip
    told = {name: int(counts.yearly[column].sum()) for name, column in named.items()}
    moves = None
    if told["counted"] and told["part"]:
        together = (told["failed"] + told["part_failed"]) / (told["counted"] + told["part"])
        moves = f"{percent(told['failed'] / told['counted'])} becomes {percent(together)} over all"
    lines = [
        Assumption(
            "Counted: component positions inspected in full strips",
            told["counted"],
            told["part"],
            "part strips counted as well",
            moves,
        ),
        Assumption("Left out: findings with neither grade nor role", told["counted"], told["unknown"]),
    ]
    if counts.one_in > 1:
        lines.append(
            Assumption(
                f"How alike the findings of one unit are is learned from one unit in {counts.one_in}; rates count all",
                max(counts.by_unit["units"].to_list(), default=0),
                None,
            )
        )
    if told["habit"]:
        without = told["counted"] - told["habit"]
        lines.append(
            Assumption(
                "Counted as inspected and sound under the habit 'full strip: positions not listed were sound'",
                told["habit"],
                None,
                "listed positions only",
                f"{percent(told['failed'] / told['counted'])} becomes {percent(told['failed'] / without)} over all"
                if without
                else None,
            )
        )
    return tuple(lines)


def _columns(by: str) -> tuple[Column, ...]:
    named = {
        "family": Column("family", "Family"),
        "position": Column("position", "Position"),
        "component": Column("component", "Component"),
    }
    keys = [named[name] for name in ("family", "position", "component") if name in GROUPS[by]]
    if by not in ("position", "component", "family"):
        keys.append(Column("group", by.capitalize()))
    return (
        *keys,
        Column("rate", "Failed", "share of full strips that find it failed", "share"),
        Column("rate_low", "from", "lower 95 % limit", "share"),
        Column("rate_high", "to", "upper 95 % limit", "share"),
        Column("failed", "Failed (count)", "full strips that found it failed"),
        Column("inspected", "Inspected", "full strips that inspected it"),
        Column("said", "If too few"),
        Column("trend_per_year", "Change a year", "factor on the odds of failed from one year to the next", "factor"),
        Column("trend_low", "from", "lower 95 % limit", "factor"),
        Column("trend_high", "to", "upper 95 % limit", "factor"),
        Column(
            "per_100000_km", "Per 100,000 km", "failures found per 100,000 km of registered units", "per 100,000 km"
        ),
        Column("per_100000_km_low", "from", "lower 95 % limit", "per 100,000 km"),
        Column("per_100000_km_high", "to", "upper 95 % limit", "per 100,000 km"),
        Column("exposure_km", "Known distance", "distance run by registered units", "km"),
        Column("resting_on_habit", "On habit", "inspected and sound by declared habit, not by a written line"),
        Column(
            "part_failed",
            "Failed in part strips",
            "part rebuilds, inspections and the like: only what is suspected is inspected there",
        ),
        Column("part_inspected", "Inspected in part strips"),
    )


def _jobs_behind(history: History, row: Mapping[str, str]) -> pl.DataFrame:
    where, values = scoped(history)
    tests = [f"f.{name} = $row_{name}" for name in ("family", "position", "component") if row.get(name)]
    values |= {f"row_{name}": row[name] for name in ("family", "position", "component") if row.get(name)}
    return jobs_behind(
        history,
        f"""
        select job, position || ': ' || coalesce(replace(damage_mode, '_', ' '), 'failed')
          || coalesce(', grade ' || grade, '') as because
        from (select * from {findings_view(history)} where {where}) as f
        where failed and full_strip and {" and ".join(["true", *tests])}
        """,
        values,
    )


FAILURE_RATES = Question(
    name="failure-rates",
    about="How often each component position is found failed in a full strip, with trend and rate per distance",
    for_whom="lead technician",
    ask=failure_rates,
    options=(Option("by", "what one row stands for", tuple(GROUPS), "position"),),
    jobs_behind=_jobs_behind,
)
