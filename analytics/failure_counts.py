"""Count failed and inspected component positions by group, by year and by unit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from analytics.history import History
from analytics.scope_sql import conditions

GROUPS: dict[str, tuple[str, ...]] = {
    "position": ("family", "position", "component"),
    "component": ("component",),
    "family": ("family", "component"),
    "supplier": ("component", "supplier"),
    "maker": ("component", "maker"),
    "technician": ("component", "technician"),
    "fleet": ("component", "fleet"),
    "duty": ("component", "duty"),
    "year": ("component", "year"),
}
KEYS = ("family", "position", "component", "group")
SAMPLED_UNITS = (
    20_000  # how alike the findings of one unit are is learned from about so many units, where there are more
)
LEAST_SAMPLED = 1_000  # findings of a position that the sampled units must have, or all units are counted
LEAST_FAILED = 50  # the same of findings failed, and of those not: without them nothing is to be learned about likeness
_COLUMNS = {
    "family": "family", "component": "component", "position": "position", "supplier": "supplier",
    "technician": "technician", "fleet": "fleet", "duty": "duty", "kind": "job_kind",
}  # fmt: skip

# One row per group and year of opening.
_TALLIES = """
with tally as (
  select {keys}, year(opened) as year,
    count(*) filter (full_strip and failed is not null) as inspected, count(*) filter (full_strip and failed) as failed,
    count(*) filter (full_strip and from_habit and failed is not null) as resting_on_habit,
    count(*) filter (not full_strip and failed is not null) as part_inspected,
    count(*) filter (not full_strip and failed) as part_failed, count(*) filter (failed is null) as unknown
  from {findings} where {where} group by all
)
"""
# One row per group: sums over units of products of what was failed (x) and inspected (n) in full strips. The two counts
# of a unit are carried in one number: millions of units make each further one dear.
_BY_UNIT = """
with by_unit as (
  select {keys}, unit_id, sum(1 + if(failed, {carry}, 0))::bigint as carried
  from {findings} where {where} and full_strip and failed is not null group by all
),
counted as (select * exclude (carried), carried // {carry} as x, carried % {carry} as n from by_unit),
summed as (
  select * exclude (unit_id, x, n), sum(x)::bigint as x, sum(n)::bigint as n, count(*) as units,
    sum(x * x)::double as xx, sum(x * n)::double as xn, sum(n * n)::double as nn
  from counted group by all
)
"""
_CARRY = 1_000_000_000
_NUMBERED = 'select p.family, p.position, p.component, null::varchar as "group", c.* exclude (position_id) '


@dataclass(frozen=True)
class FailureCounts:
    """Hold what was counted, by group (family, position, component, group).

    yearly: year, inspected, failed, resting_on_habit, part_inspected, part_failed, unknown (neither grade nor role);
    by_unit: x, n, units, xx, xn, nn, sums over the units that tell how alike findings of one unit are. `one_in`: they
    are those of one unit in so many, except for positions where those would be too few.
    """

    yearly: pl.DataFrame
    by_unit: pl.DataFrame
    one_in: int


def findings_view(history: History, by: str = "position") -> str:
    """Return the view to count in: with the part that sat there only where the question needs it."""
    with_part = by in ("supplier", "maker") or history.scope.supplier is not None
    return "known_component_finding_with_part" if with_part else "known_component_finding"


def scoped(history: History) -> tuple[str, dict[str, Any]]:
    """Return the scope as SQL conditions on a finding, and their values."""
    return conditions(history.scope, _COLUMNS, "opened")


def failure_counts(history: History, by: str) -> FailureCounts:
    """Count by one of `GROUPS`; positions are counted by number, those that no record declares by their name."""
    where, values = scoped(history)
    view = findings_view(history, by)
    if by != "position":
        parts = {"keys": _keys(by), "findings": view, "where": where, "carry": _CARRY}
        return FailureCounts(
            history.query(_TALLIES.format(**parts) + "select * from tally order by all", values),
            history.query(_BY_UNIT.format(**parts) + "select * from summed order by all", values),
            1,
        )
    yearly = pl.concat(
        [_by_number(history, _TALLIES, "tally", where, values), _undeclared(history, _TALLIES, "tally", where, values)]
    ).sort(*KEYS, "year", nulls_last=True)
    units = int(history.query("select count(distinct unit_id) as units from known_visit")["units"][0])
    one_in = -(-units // SAMPLED_UNITS)
    sampled = "true" if one_in <= 1 else _sampled(history, yearly, one_in)
    chosen = f"({where}) and ({sampled})"
    by_unit = pl.concat(
        [
            _by_number(history, _BY_UNIT, "summed", chosen, values),
            _undeclared(history, _BY_UNIT, "summed", where, values),
        ]
    ).sort(*KEYS, nulls_last=True)
    return FailureCounts(yearly, by_unit, max(one_in, 1))


def _by_number(history: History, sql: str, name: str, where: str, values: Mapping[str, Any]) -> pl.DataFrame:
    parts = {"keys": "position_id", "findings": findings_view(history), "carry": _CARRY}
    text = sql.format(**parts, where=f"{where} and position_id is not null")
    return history.query(f"{text} {_NUMBERED} from {name} as c join known_position as p using (position_id)", values)


def _undeclared(history: History, sql: str, name: str, where: str, values: Mapping[str, Any]) -> pl.DataFrame:
    parts = {"keys": _keys("position"), "findings": findings_view(history), "carry": _CARRY}
    return history.query(
        sql.format(**parts, where=f"{where} and position_id is null") + f"select * from {name}", values
    )


def _sampled(history: History, yearly: pl.DataFrame, one_in: int) -> str:
    """Return SQL that is true for findings of the sampled units, and for all findings of rare positions.

    A unit is chosen by its name, so that neither the order of rows nor units that come later change the choice.
    """
    rare = (
        yearly.group_by(KEYS)
        .agg(pl.col("inspected").sum(), pl.col("failed").sum())
        .filter(
            (pl.col("inspected") < LEAST_SAMPLED * one_in)
            | (pl.min_horizontal("failed", pl.col("inspected") - pl.col("failed")) < LEAST_FAILED * one_in)
        )
        .select("family", "position")
    )
    chosen = f"unit_id in (select unit_id from known_unit where ('0x' || left(md5(unit), 8))::bigint % {one_in} = 0)"
    if rare.is_empty():
        return chosen
    numbers = history.query("select position_id, family, position from known_position").join(
        rare, on=["family", "position"], how="semi"
    )["position_id"]
    listed = ", ".join(str(number) for number in sorted(numbers.to_list()))
    return f"{chosen} or position_id in ({listed})" if listed else chosen


def _keys(by: str) -> str:
    """Return SQL that names the four key columns of a grouping."""
    names = GROUPS[by]
    group = "null::varchar"
    if by == "year":
        group = "year(opened)::varchar"
    elif by not in ("position", "component", "family"):
        group = f"coalesce({by}, '{'private owners' if by == 'fleet' else 'not known'}')"
    parts = [f"{name if name in names else 'null::varchar'} as {name}" for name in ("family", "position", "component")]
    return ", ".join([*parts, f'{group} as "group"'])
