"""Answer: what do the jobs use up, is it growing, and what does it cost?"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

import numpy as np
import polars as pl

from analytics.answer import Answer, Assumption, Column
from analytics.estimators.multiple_testing import benjamini_hochberg
from analytics.estimators.rate_of_change import rate_of_change
from analytics.history import History
from analytics.job_list import jobs_behind
from analytics.question import Option, Question
from analytics.scope_sql import conditions
from analytics.wording import percent

MONTHS_OF_TREND = 36
FALSE_DISCOVERIES = 0.05  # of the parts said to move, at most this share by chance
METHOD = (
    "Pieces fitted, by the month in which the job was put together. Rate of change: log-linear in the last "
    f"{MONTHS_OF_TREND} whole months, over-dispersion and neighbouring months allowed for, 95 %; parts with too few "
    "uses say so; the p value is adjusted for all rows looked at. Own parts refitted and customers' parts are not use."
)
_FILTERS = {
    "family": "family", "component": "component", "position": "position", "supplier": "supplier",
    "technician": "technician", "fleet": "fleet", "duty": "duty", "kind": "job_kind",
}  # fmt: skip
_JOB_FILTERS = {
    "family": "u.family",
    "technician": "j.technician",
    "fleet": "j.fleet",
    "duty": "j.duty",
    "kind": "j.kind",
}
_KEYS = {"part": "part", "component": "component", "supplier": "supplier"}


def parts_usage(history: History, options: Mapping[str, str]) -> Answer:
    """Return monthly use per part (or kind of component, or supplier), its rate of change, and spend.

    Rows: part, description, component, supplier (as grouped); used_last_12_months (pieces), used_12_months_before,
    jobs_last_12_months, per_100_jobs, change_per_year with limits (share a year),
    looks_adjusted_p, spend_last_12_months (money),
    said. Curves: "monthly" (month, name, pieces, spend) of the largest ten.
    """
    by = options["by"]
    end = min(history.as_of, history.scope.until or history.as_of)
    whole = end.replace(day=1)  # months up to the last whole one
    used = _monthly(history, by, whole)
    jobs = _jobs_last_12_months(history, whole)
    rows = _rows(used, by, whole, jobs)
    sentence, number, about = _sentence(rows, by)
    top = rows.head(10)[by].to_list()
    monthly = used.filter(pl.col(by).is_in(top)).select(
        "month", pl.col(by).alias("name"), pl.col("pieces"), (pl.col("cents") / 100).alias("spend")
    )
    return Answer(
        question="parts-usage",
        as_of=history.as_of,
        warehouse_version=history.warehouse.version,
        filters=history.scope.filters(),
        sentence=sentence,
        number=number,
        number_about=about,
        method=METHOD,
        grain=f"one row per {by}",
        rows=rows,
        columns=_columns(by),
        assumptions=_ledger(history),
        curves={"monthly": monthly.sort("name", "month")},
    )


def _monthly(history: History, by: str, whole: dt.date) -> pl.DataFrame:
    where, values = conditions(history.scope, _FILTERS, "used_on")
    return history.query(
        f"""
        select coalesce({_KEYS[by]}, 'not known') as {by}, min(description) as description,
          min(component) as kind, date_trunc('month', used_on)::date as month,
          sum(quantity_milli)::bigint / 1000.0 as pieces,
          sum(round(quantity_milli * coalesce(unit_cost_cents, 0) / 1000.0))::bigint as cents,
          count(distinct job) as jobs
        from known_part_use
        where {where} and origin not in ('own_refitted', 'customer_supplied') and used_on < $whole
        group by 1, 4 order by 1, 4
        """,
        {**values, "whole": whole},
    )


def _jobs_last_12_months(history: History, whole: dt.date) -> int:
    limited = {name: value for name, value in history.scope.filters().items() if name in _JOB_FILTERS}
    tests = " and ".join(
        [
            "true",
            *(
                f"{_JOB_FILTERS[n]} is null" if v == "private owners" else f"{_JOB_FILTERS[n]} = ${n}"
                for n, v in limited.items()
            ),
        ]
    )
    values = {n: v for n, v in limited.items() if v != "private owners"}
    frame = history.query(
        f"""
        select count(*) as n from known_job as j join known_unit as u using (unit)
        where coalesce(j.closed, j.delivered) >= $first and coalesce(j.closed, j.delivered) < $whole and {tests}
        """,
        {**values, "first": _months_before(whole, 12), "whole": whole},
    )
    return int(frame["n"][0])


def _months_before(day: dt.date, months: int) -> dt.date:
    count = day.year * 12 + day.month - 1 - months
    return dt.date(count // 12, count % 12 + 1, 1)


def _rows(used: pl.DataFrame, by: str, whole: dt.date, jobs: int) -> pl.DataFrame:
    last, before = _months_before(whole, 12), _months_before(whole, 24)
    recent = pl.col("month") >= last
    table = (
        used.group_by(by, maintain_order=True)
        .agg(
            pl.col("description").drop_nulls().first(),
            pl.col("kind").drop_nulls().first().alias("component_kind"),
            pl.col("pieces").filter(recent).sum().alias("used_last_12_months"),
            pl.col("pieces").filter(~recent & (pl.col("month") >= before)).sum().alias("used_12_months_before"),
            pl.col("jobs").filter(recent).sum().alias("jobs_last_12_months"),
            (pl.col("cents").filter(recent).sum() / 100).alias("spend_last_12_months"),
        )
        .with_columns((100 * pl.col("jobs_last_12_months") / max(jobs, 1)).alias("per_100_jobs"))
        .sort("spend_last_12_months", "used_last_12_months", by, descending=[True, True, False])
    )
    return _with_change(table, used, by, whole)


def _with_change(table: pl.DataFrame, used: pl.DataFrame, by: str, whole: dt.date) -> pl.DataFrame:
    """Add the rate of change a year over the last whole months, from the first month with any use in scope."""
    names = ["change_per_year", "change_low", "change_high", "looks_adjusted_p"]
    first = max(_months_before(whole, MONTHS_OF_TREND), min(used["month"], default=whole))
    months = pl.date_range(first, whole, "1mo", closed="left", eager=True)
    changes = {name: [None] * table.height for name in names}
    said: list[str | None] = [None] * table.height
    if table.height and len(months):
        grid = table.select(by).join(pl.DataFrame({"month": months}), how="cross")
        filled = grid.join(used.select(by, "month", "pieces"), on=[by, "month"], how="left", maintain_order="left")
        counts = np.rint(filled["pieces"].fill_null(0.0).to_numpy()).reshape(table.height, len(months))
        found = rate_of_change(counts)
        adjusted = benjamini_hochberg(found.p_value)
        for name, values in zip(names, (found.change, found.lower, found.upper, adjusted), strict=True):
            for place, value in zip(found.group.tolist(), values.tolist(), strict=True):
                changes[name][place] = value
        for place, few in found.too_few:
            said[place] = str(few)
    return table.with_columns(
        *(pl.Series(name, changes[name], dtype=pl.Float64) for name in names), pl.Series("said", said, dtype=pl.String)
    )


def _sentence(rows: pl.DataFrame, by: str) -> tuple[str, str, str]:
    if rows.is_empty() or rows["used_last_12_months"].sum() == 0:
        return "No part was used in the last 12 whole months in this scope.", "", ""
    spend = float(rows["spend_last_12_months"].sum())
    top = rows.row(0, named=True)
    name = _name(top, by)
    sentence = (
        f"Parts for {spend:,.0f} went into the jobs of the last 12 whole months; most into {name} "
        f"({top['used_last_12_months']:,.0f} pieces, {top['spend_last_12_months']:,.0f})."
    )
    looked_at = rows["change_per_year"].drop_nulls().len()
    surely = rows.filter(pl.col("looks_adjusted_p") <= FALSE_DISCOVERIES)
    if looked_at and surely.is_empty():
        sentence += f" None of {looked_at} with uses enough grows or falls by more than chance."
    elif looked_at:
        moved = surely.sort(pl.col("change_per_year").abs(), by, descending=[True, False]).row(0, named=True)
        way = "grows" if moved["change_per_year"] > 0 else "falls"
        sentence += (
            f" Of {looked_at} with uses enough, {surely.height} move by more than chance; {_name(moved, by)} {way} "
            f"fastest: {percent(moved['change_per_year'], 0)} a year "
            f"({percent(moved['change_low'], 0)} to {percent(moved['change_high'], 0)})."
        )
    return sentence, f"{spend:,.0f}", "spent on parts in the last 12 whole months"


def _name(row: Mapping[str, object], by: str) -> str:
    text = str(row[by]).replace("_", " ") if by == "component" else str(row[by])
    return f"{text} ({row['description']})" if by == "part" and row["description"] else text


def _ledger(history: History) -> tuple[Assumption, ...]:
    where, values = conditions(history.scope, _FILTERS, "used_on")
    told = history.query(
        f"""
        select count(*) filter (origin not in ('own_refitted', 'customer_supplied')) as counted,
          count(*) filter (origin in ('own_refitted', 'customer_supplied')) as own,
          count(*) filter (unit_cost_cents is null and origin not in ('own_refitted', 'customer_supplied')) as uncosted
        from known_part_use where {where}
        """,
        values,
    ).row(0, named=True)
    return (
        Assumption("Counted: part lines fitted", told["counted"], told["own"]),
        Assumption("Spend counts lines with a cost only", told["counted"] - told["uncosted"], told["uncosted"]),
    )


def _columns(by: str) -> tuple[Column, ...]:
    described = (Column("description", "Description"),) if by == "part" else ()
    return (
        Column(by, by.capitalize()),
        *described,
        Column("used_last_12_months", "Used, last 12 months", "", "pieces"),
        Column("used_12_months_before", "12 months before", "", "pieces"),
        Column("per_100_jobs", "Jobs in 100 that use it", "", ""),
        Column("change_per_year", "Change a year", "rate of change of monthly use", "share"),
        Column("change_low", "from", "lower 95 % limit", "share"),
        Column("change_high", "to", "upper 95 % limit", "share"),
        Column("looks_adjusted_p", "By chance", "p value adjusted for all rows looked at (Benjamini-Hochberg)"),
        Column("spend_last_12_months", "Spend, last 12 months", "", "money"),
        Column("said", "If too few"),
    )


def _jobs_behind(history: History, row: Mapping[str, str]) -> pl.DataFrame:
    where, values = conditions(history.scope, _FILTERS, "used_on")
    name = next((key for key in _KEYS if row.get(key)), None)
    test = f"{_KEYS[name]} = $row_name" if name else "true"
    return jobs_behind(
        history,
        f"""
        select job, part || ' x ' || (sum(quantity_milli)::bigint / 1000)::varchar as because
        from known_part_use where {where} and {test} group by job, part
        """,
        {**values, **({"row_name": row[name]} if name else {})},
    )


PARTS_USAGE = Question(
    name="parts-usage",
    about="What the jobs use up, month by month, by how much it grows, and what it costs",
    for_whom="parts manager",
    ask=parts_usage,
    options=(Option("by", "what one row stands for", tuple(_KEYS), "part"),),
    jobs_behind=_jobs_behind,
)
