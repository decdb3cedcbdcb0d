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

# One row per group and year of opening. Findings alike in all that is told apart are counted first: six counts over
# each of millions of findings cost more.
_TALLIES = """
with alike as (
  select {keys}, year(opened) as year, full_strip, failed, from_habit, count(*) as n
  from {findings} where {where} group by all
),
tally as (
  select * exclude (full_strip, failed, from_habit, n),
    coalesce(sum(n) filter (full_strip and failed is not null), 0)::bigint as inspected,
    coalesce(sum(n) filter (full_strip and failed), 0)::bigint as failed,
    coalesce(sum(n) filter (full_strip and from_habit and failed is not null), 0)::bigint as resting_on_habit,
    coalesce(sum(n) filter (not full_strip and failed is not null), 0)::bigint as part_inspected,
    coalesce(sum(n) filter (not full_strip and failed), 0)::bigint as part_failed,
    coalesce(sum(n) filter (failed is null), 0)::bigint as unknown
  from alike group by all
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
CARRY = 1_000_000_000
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
        parts = {"keys": _keys(by), "findings": view, "where": where, "carry": CARRY}
        return FailureCounts(
            history.query(_TALLIES.format(**parts) + "select * from tally order by all", values),
            history.query(_BY_UNIT.format(**parts) + "select * from summed order by all", values),
            1,
        )
    undeclared = bool(history.query("select 1 as found from known_finding where position_id is null limit 1").height)

    def counts(sql: str, name: str, sampled: str = "true", rare: pl.DataFrame | None = None) -> pl.DataFrame:
        found = [_by_number(history, sql, name, f"{where} and {sampled}", values, rare)]
        if undeclared:
            found.append(_undeclared(history, sql, name, where, values))
        return pl.concat(found)

    yearly = counts(_TALLIES, "tally").sort(*KEYS, "year", nulls_last=True)
    units = int(history.query("select count(distinct unit_id) as units from known_visit")["units"][0])
    one_in = max(-(-units // SAMPLED_UNITS), 1)
    by_unit = counts(_BY_UNIT, "summed", *_sampled(history, yearly, one_in)).sort(*KEYS, nulls_last=True)
    return FailureCounts(yearly, by_unit, one_in)


def _by_number(
    history: History, sql: str, name: str, where: str, values: Mapping[str, Any], rare: pl.DataFrame | None
) -> pl.DataFrame:
    parts = {"keys": "position_id", "findings": findings_view(history), "carry": CARRY}
    text = sql.format(**parts, where=f"{where} and position_id is not null")
    joined = f"{text} {_NUMBERED} from {name} as c join known_position as p using (position_id)"
    return history.query(joined, values, None if rare is None else {"rare": rare})


def _undeclared(history: History, sql: str, name: str, where: str, values: Mapping[str, Any]) -> pl.DataFrame:
    parts = {"keys": _keys("position"), "findings": findings_view(history), "carry": CARRY}
    text = sql.format(**parts, where=f"{where} and position_id is null")
    return history.query(f"{text} select * from {name}", values)


def _sampled(history: History, yearly: pl.DataFrame, one_in: int) -> tuple[str, pl.DataFrame | None]:
    """Return SQL that is true for findings of the sampled units, and for all findings of rare positions.

    Those positions are the frame that the SQL calls `rare`.
    """
    counted = yearly.group_by(KEYS).agg(pl.col("inspected").sum(), pl.col("failed").sum())
    few = counted.filter(
        (pl.col("inspected") < LEAST_SAMPLED * one_in)
        | (pl.min_horizontal("failed", pl.col("inspected") - pl.col("failed")) < LEAST_FAILED * one_in)
    ).select("family", "position")
    if one_in == 1 or few.height == counted.height:
        return "true", None
    if few.is_empty():
        return _one_unit_in(one_in), None
    numbered = history.query("select position_id, family, position from known_position")
    rare = numbered.join(few, on=["family", "position"], how="semi").select("position_id")
    return f"({_one_unit_in(one_in)} or position_id in (select position_id from rare))", rare


def _one_unit_in(many: int) -> str:
    """Return SQL that is true for one unit in so many.

    Chosen by its name, so that neither the order of rows nor units that come later change the choice.
    """
    return f"unit_id in (select unit_id from known_unit where ('0x' || left(md5(unit), 8))::bigint % {many} = 0)"


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
