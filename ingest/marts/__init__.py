"""Build the marts: row-grain tables that carry known dates, so that any past day is a filter on them."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import partial
from importlib import resources

import duckdb

from ingest.at_once import at_once
from ingest.records import RECORDS

COMEBACK_WINDOW_DAYS = 731  # the fixed window in which a comeback is inferred, whatever warranty was sold


@dataclass(frozen=True)
class Mart:
    """Name one mart and the fields of it that become known later than the row (column -> its clock)."""

    name: str
    clocks: dict[str, str] = field(default_factory=dict)
    is_view: bool = False  # joins of tables by number cost less to make at each question than to store
    follows: str | None = None  # the mart that it is made from
    written_as: str | None = None  # the file of its SQL, where it is not its own name
    clock: str = "km"  # stands for $clock in it
    by_day: bool = (
        False  # more than its rows depends on the day: stored as of the last one, with its SQL for the others
    )


_SETTLED = "settled_on"
_WHEN_SETTLED = ("outcome", "payer", "cost_cents")
_COMEBACK_CLOCKS = {
    "comeback_job": "comeback_known", "comeback_known": "comeback_known",
    "position": "cause_known", "damage_mode": "cause_known", "cause_known": "cause_known",
    "given_from": "given_from", "given_original": "given_from",
}  # fmt: skip
_LIFE_CLOCKS = {"renews": _SETTLED, "superseded_on": "superseded_on"}

MARTS: tuple[Mart, ...] = (
    Mart("visit"),
    Mart("part_before"),
    Mart("component_finding", {"action": _SETTLED}, is_view=True),
    Mart("component_finding_with_part", {"action": _SETTLED}, is_view=True),
    Mart("comeback_link", dict.fromkeys(_WHEN_SETTLED, _SETTLED) | _COMEBACK_CLOCKS),
    Mart("pack"),
    Mart("part_use", is_view=True),
    Mart("visit_clock", dict.fromkeys(("next_at", "next_group", "next_known_on"), "next_known_on")),
    Mart("life_inspection", _LIFE_CLOCKS, follows="visit_clock"),
    Mart("life_inspection_hours", _LIFE_CLOCKS, follows="visit_clock", written_as="life_inspection", clock="hours"),
    Mart("delivered_job", by_day=True),
)


def build_marts(connection: duckdb.DuckDBPyConnection) -> None:
    """Create every mart in schema `new`: the tables at once, each after the one it is made from, then the views.

    Marts by day come last, since they are made from others, and leave their SQL in `new.mart_by_day`.
    """
    tables = [mart for mart in MARTS if not mart.is_view and not mart.by_day]
    chains = [[one, *(m for m in tables if m.follows == one.name)] for one in tables if one.follows is None]
    list(at_once(connection, [partial(_build_tables, chain) for chain in chains]))
    for mart in MARTS:
        if mart.is_view:
            # Unqualified names, so that the view finds its tables when the file is opened by itself.
            connection.execute(f"use new; create view {mart.name} as {_sql_of(mart)}; use memory")
    connection.execute("create table new.mart_by_day (name varchar, sql varchar)")
    for mart in MARTS:
        if mart.by_day:
            sql = _sql_of(mart)
            connection.execute(f"create table new.{mart.name} as {as_of_the_last_day(sql, 'new.')}")
            connection.execute("insert into new.mart_by_day values (?, ?)", [mart.name, sql])


def as_of_the_last_day(sql: str, schema: str = "") -> str:
    """Return the SQL of a mart by day over everything on record, in the tables of `schema`."""
    names = "|".join([*(record.name for record in RECORDS), *(mart.name for mart in MARTS)])
    return re.sub(rf"\bknown_({names})\b", rf"{schema}\1", sql).replace("$as_of", "date '9999-12-31'")


def _build_tables(chain: list[Mart], connection: duckdb.DuckDBPyConnection) -> None:
    for mart in chain:
        connection.execute(f"create table new.{mart.name} as {_sql_of(mart)}")


def _sql_of(mart: Mart) -> str:
    text = resources.files(__package__).joinpath(f"{mart.written_as or mart.name}.sql").read_text()
    return text.replace("$window_days", str(COMEBACK_WINDOW_DAYS)).replace("$clock", mart.clock)
