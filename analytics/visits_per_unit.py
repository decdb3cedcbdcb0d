"""Answer: how many more visits does a unit make, and do they come closer together?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import polars as pl

from analytics.answer import Answer, Assumption, Column
from analytics.estimators.mean_cumulative_values import MeanCumulativeValues, mean_cumulative_values
from analytics.estimators.multiple_testing import benjamini_hochberg
from analytics.estimators.trend_test import TrendTest, trend_test
from analytics.history import History
from analytics.job_list import jobs_behind
from analytics.question import Option, Question
from analytics.scope import PRIVATE_OWNERS
from analytics.scope_sql import conditions
from analytics.wording import count_of

DAYS_PER_MONTH = 30.4375
MONTHS = (12, 24, 36, 60)
LEVEL = 0.9
MINIMUM_AT_RISK = 10
MOST_AGES = 400  # of single days on the curve; above it the curve is given month by month
GROUPS = ("all", "family", "fleet", "duty")
METHOD = (
    "Mean cumulative number of visits a unit, counted from its entry on a register or its first delivery here (that "
    "first visit is not counted) to retirement or the day asked; 90 % limits from the robust variance by unit, so that "
    "units that come often do not make it look surer. Trend: Laplace scores summed over units over their own scatter."
)

_UNITS = """
with delivered_first as (
  select unit_id, min(delivered) as day from known_job where delivered is not null group by unit_id
),
retired as (
  select unit, min(seen) as day from known_sighting where state = 'retired' group by unit
),
last_vehicle as (  -- one row per unit: where it was last known to be
  select unit, arg_max(fleet, fitted_from) as fleet, arg_max(duty, fitted_from) as duty from known_fitting group by unit
),
last_visit as (
  select unit_id, arg_max(fleet, opened) as fleet, arg_max(duty, opened) as duty from known_job group by unit_id
)
select u.unit_id, u.unit, u.family, coalesce(v.fleet, j.fleet) as fleet, coalesce(v.duty, j.duty) as duty,
  u.register_entry is not null as registered, least(u.register_entry, d.day) as start,
  least(coalesce(r.day, $as_of), $as_of) as stop
from known_unit as u
left join delivered_first as d using (unit_id)
left join retired as r on r.unit = u.unit
left join last_vehicle as v on v.unit = u.unit
left join last_visit as j on j.unit_id = u.unit_id
order by u.unit_id
"""


def visits_per_unit(history: History, options: Mapping[str, str]) -> Answer:
    """Return how many visits a unit has made by 12, 24, 36 and 60 months of being followed, per group.

    Rows: group, months, visits (a unit), low, high (90 %), at_risk (units still followed), units, counted (visits),
    trend (statistic, above nought: closer together), trend_p (adjusted for the groups looked at), said. Curve
    "visits": group, days, visits, low, high, at_risk, standard_error.
    """
    by = options["by"]
    units, left_out = _units(history)
    visits = _visits(history, units)
    named = units.with_columns(_group(by).alias("group"))
    groups = named.partition_by("group", maintain_order=False, as_dict=False) if named.height else []
    groups = sorted(groups, key=lambda g: str(g["group"][0]))
    tests = [_trend(g, visits) for g in groups]
    adjusted = iter(benjamini_hochberg([t.p_value for t in tests if isinstance(t, TrendTest)]))
    rows: list[dict[str, Any]] = []
    for group, test in zip(groups, tests, strict=True):
        p = float(next(adjusted)) if isinstance(test, TrendTest) else None
        rows += _rows(group, visits, test, p)
    frame = pl.DataFrame(rows, schema=_SCHEMA)
    sentence, number, about = _sentence(frame, by)
    return Answer(
        question="visits-per-unit",
        as_of=history.as_of,
        warehouse_version=history.warehouse.version,
        filters=history.scope.filters(),
        sentence=sentence,
        number=number,
        number_about=about,
        method=METHOD,
        grain=f"one row per {'months followed' if by == 'all' else by + ' and months followed'}",
        rows=frame,
        columns=_COLUMNS,
        notes=_notes(history, units),
        assumptions=_ledger(units, visits, left_out, frame, by),
        curves={"visits": _curve(groups, visits)},
    )


def _units(history: History) -> tuple[pl.DataFrame, int]:
    """Return every unit that is followed for a day at least, and how many are not."""
    whose = replace(history.scope, kind=None)  # the kind is that of the visits, not of the units
    where, values = conditions(whose, {"family": "family", "fleet": "fleet", "duty": "duty"})
    found = history.query(f"select * from ({_UNITS}) where {where} order by unit_id", values)
    followed = found.filter(pl.col("start").is_not_null() & (pl.col("stop") > pl.col("start"))).with_columns(
        (pl.col("stop") - pl.col("start")).dt.total_days().alias("days")
    )
    return followed.with_row_index("place"), found.height - followed.height


def _visits(history: History, units: pl.DataFrame) -> pl.DataFrame:
    """Return one row per visit counted: the unit's place and the day since it began to be followed."""
    kind = "kind = $kind" if history.scope.kind else "true"
    values = {"kind": history.scope.kind} if history.scope.kind else {}
    jobs = history.query(
        f"select job, unit_id, kind, opened from known_job where {kind} order by unit_id, opened", values
    )
    told = jobs.join(units.select("unit_id", "place", "start", "days", "registered"), on="unit_id")
    return told.with_columns((pl.col("opened") - pl.col("start")).dt.total_days().alias("day")).filter(
        (pl.col("day") > 0) & (pl.col("day") <= pl.col("days"))
    )


def _group(by: str) -> pl.Expr:
    if by == "all":
        return pl.lit("all")
    return pl.col(by).fill_null(PRIVATE_OWNERS if by == "fleet" else "not known")


def _arrays(group: pl.DataFrame, visits: pl.DataFrame) -> tuple[Any, Any, Any]:
    """Return the days each unit is followed, and the unit and day of each of its visits."""
    own = visits.join(group.select("unit_id").with_row_index("own"), on="unit_id", maintain_order="left").sort(
        "own", "day"
    )
    return (group["days"].to_numpy().astype(float), own["own"].to_numpy().astype(np.intp),
            own["day"].to_numpy().astype(float))  # fmt: skip


def _trend(group: pl.DataFrame, visits: pl.DataFrame) -> object:
    end, unit, day = _arrays(group, visits)
    return trend_test(np.zeros(len(end)), end, unit, day)


def _values(group: pl.DataFrame, visits: pl.DataFrame, at: Any) -> MeanCumulativeValues:
    end, unit, day = _arrays(group, visits)
    return mean_cumulative_values(end, unit, day, at)


def _rows(group: pl.DataFrame, visits: pl.DataFrame, test: object, p: float | None) -> list[dict[str, Any]]:
    at = np.array(MONTHS) * DAYS_PER_MONTH
    found = _values(group, visits, at)
    low, high = found.limits(LEVEL)
    counted = visits.join(group.select("unit_id"), on="unit_id", how="semi").height
    rows = []
    for i, months in enumerate(MONTHS):
        risk = int(found.at_risk[i])
        row: dict[str, Any] = {
            "group": group["group"][0], "months": months, "at_risk": risk, "units": group.height, "counted": counted,
        }  # fmt: skip
        if risk >= MINIMUM_AT_RISK:
            row |= {"visits": float(found.mean[i]), "low": float(low[i]), "high": float(high[i])}
        else:
            row["said"] = f"too few to say ({risk} of {MINIMUM_AT_RISK} units still followed)"
        if isinstance(test, TrendTest):
            row |= {"trend": test.statistic, "trend_p": p}
        rows.append(row)
    return rows


def _curve(groups: list[pl.DataFrame], visits: pl.DataFrame) -> pl.DataFrame:
    parts = []
    for group in groups:
        end, _, day = _arrays(group, visits)
        ages = np.unique(day)
        if len(ages) > MOST_AGES:
            ages = np.arange(1, int(end.max() / DAYS_PER_MONTH) + 1) * DAYS_PER_MONTH
        found = _values(group, visits, ages)
        low, high = found.limits(LEVEL)
        parts.append(
            pl.DataFrame(
                {
                    "group": [str(group["group"][0])] * len(ages), "days": ages, "visits": found.mean, "low": low,
                    "high": high, "at_risk": found.at_risk.astype(np.int64), "standard_error": found.standard_error,
                },
                schema=_CURVE,
            )
        )  # fmt: skip
    return pl.concat(parts) if parts else pl.DataFrame(schema=_CURVE)


_CURVE = {
    "group": pl.String, "days": pl.Float64, "visits": pl.Float64, "low": pl.Float64, "high": pl.Float64,
    "at_risk": pl.Int64, "standard_error": pl.Float64,
}  # fmt: skip
_SCHEMA: dict[str, type[pl.DataType]] = {
    "group": pl.String, "months": pl.Int64, "visits": pl.Float64, "low": pl.Float64, "high": pl.Float64,
    "at_risk": pl.Int64, "units": pl.Int64, "counted": pl.Int64, "trend": pl.Float64, "trend_p": pl.Float64,
    "said": pl.String,
}  # fmt: skip


def _sentence(rows: pl.DataFrame, by: str) -> tuple[str, str, str]:
    if rows.is_empty():
        return "No unit has been followed for a day in this scope.", "", ""
    told = rows.filter((pl.col("months") == MONTHS[1]) & pl.col("visits").is_not_null())
    if told.is_empty():
        told = rows.filter(pl.col("visits").is_not_null())
    if told.is_empty():
        most = int(rows["at_risk"].max() or 0)  # type: ignore[arg-type]
        return f"Too few to say ({most} of {MINIMUM_AT_RISK} units still followed at {MONTHS[0]} months).", "", ""
    top = told.sort("low", "group", descending=[True, False]).row(0, named=True)
    whose = "" if by == "all" else f" ({by} {str(top['group']).replace('_', ' ')})"
    number = f"{top['visits']:.2f}"
    sentence = (
        f"Within {top['months']} months a unit{whose} makes {number} visits ({top['low']:.2f} to {top['high']:.2f}), "
        f"from {count_of(top['counted'], 'visit')} of {count_of(top['units'], 'unit')}."
    )
    if top["trend_p"] is not None:
        faster = "closer together" if top["trend"] > 0 else "further apart"
        sentence += (
            f" Visits come {faster} as time goes on ({_p(top['trend_p'])})."
            if top["trend_p"] < 0.05
            else " That they come closer together or further apart is not shown."
        )
    return sentence, number, f"visits a unit within {top['months']} months{whose}"


def _p(value: float) -> str:
    return "p below 0.001" if value < 0.001 else f"p {value:.3f}"


def _notes(history: History, units: pl.DataFrame) -> tuple[str, ...]:
    notes = []
    loose = units.filter(~pl.col("registered")).height
    if loose:
        notes.append(
            f"{loose:,} units stand on no register: they count as followed since their first delivery here, though "
            "they may have gone elsewhere since, which makes their visits look fewer than they are."
        )
    elsewhere = history.query("select count(*) as n from known_sighting where state = 'opened_elsewhere'")["n"][0]
    if elsewhere:
        notes.append(f"Openings by other workshops ({elsewhere:,} known) are not visits here and are not counted.")
    return tuple(notes)


def _ledger(
    units: pl.DataFrame, visits: pl.DataFrame, left_out: int, rows: pl.DataFrame, by: str
) -> tuple[Assumption, ...]:
    lines = [
        Assumption("Units followed since a register's entry or their first delivery here", units.height, left_out),
        Assumption(
            "Visits after that day; the visit that made a unit known is not counted", visits.height, None
        ),
    ]  # fmt: skip
    listed = units.filter(pl.col("registered"))
    if by == "all" and 0 < listed.height < units.height:
        found = rows.filter((pl.col("months") == MONTHS[1]) & pl.col("visits").is_not_null())
        other = _rows(listed.with_columns(pl.lit("all").alias("group")), visits, None, None)[1]
        if found.height and other.get("visits") is not None:
            lines.append(
                Assumption(
                    "Units on no register count as followed to the day asked", units.height, 0,
                    "only units on a register", f"{found['visits'][0]:.2f} visits within {MONTHS[1]} months become "
                    f"{other['visits']:.2f}",
                )
            )  # fmt: skip
    return tuple(lines)


_COLUMNS = (
    Column("group", "Group"),
    Column("months", "Within", "months since the unit began to be followed", "months"),
    Column("visits", "Visits a unit", "mean cumulative number of visits"),
    Column("low", "from", "lower 90 % limit"),
    Column("high", "to", "upper 90 % limit"),
    Column("at_risk", "Still followed", "units still followed after that time"),
    Column("units", "Units"),
    Column("counted", "Visits", "visits counted of all the group's units"),
    Column("trend", "Trend", "above nought: visits come closer together"),
    Column("trend_p", "Trend p", "for no trend, adjusted for the groups looked at"),
    Column("said", "If too few"),
)


def _jobs_behind(history: History, row: Mapping[str, str]) -> pl.DataFrame:
    units, _ = _units(history)
    by = row.get("by", "all")
    if row.get("group") and row["group"] != "all":
        kinds = (
            [by]
            if by != "all"
            else [n for n in ("family", "fleet", "duty") if row["group"] in units[n].fill_null("").to_list()]
        )
        for name in kinds[:1]:
            units = units.with_columns(_group(name).alias("group")).filter(pl.col("group") == row["group"])
    visits = _visits(history, units)
    if row.get("months"):
        visits = visits.filter(pl.col("day") <= float(row["months"]) * DAYS_PER_MONTH)
    if visits.is_empty():
        return jobs_behind(history, "select job, '' as because from known_job where false", {})
    return jobs_behind(
        history,
        "select unnest($jobs) as job, 'visit ' || unnest($days) || ' days after it began to be followed' as because",
        {"jobs": visits["job"].to_list(), "days": [int(d) for d in visits["day"].to_list()]},
    )


VISITS_PER_UNIT = Question(
    name="visits-per-unit",
    about="How many more visits a unit makes, by months since we follow it, and whether they come closer together",
    for_whom="owner",
    ask=visits_per_unit,
    options=(Option("by", "what one row stands for", GROUPS, "all"),),
    jobs_behind=_jobs_behind,
)
