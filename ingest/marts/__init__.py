"""Build the marts: row-grain tables that carry known dates, so that any past day is a filter on them."""

from __future__ import annotations

from dataclasses import dataclass, field
from importlib import resources

import duckdb

COMEBACK_WINDOW_DAYS = 731  # the fixed window in which a comeback is inferred, whatever warranty was sold


@dataclass(frozen=True)
class Mart:
    """Name one mart and the fields of it that become known later than the row (column -> its clock)."""

    name: str
    clocks: dict[str, str] = field(default_factory=dict)
    is_view: bool = False  # joins of tables by number cost less to make at each question than to store
    written_as: str | None = None  # the file of its SQL, where it is not its own name
    clock: str = "km"  # stands for $clock in it


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
    Mart("life_inspection", _LIFE_CLOCKS),
    Mart("life_inspection_hours", _LIFE_CLOCKS, written_as="life_inspection", clock="hours"),
)


def build_marts(connection: duckdb.DuckDBPyConnection) -> None:
    """Create every mart in schema `new`."""
    for mart in MARTS:
        sql = resources.files(__package__).joinpath(f"{mart.written_as or mart.name}.sql").read_text()
        if mart.is_view:
            # Unqualified names, so that the view finds its tables when the file is opened by itself.
            connection.execute(f"use new; create view {mart.name} as {sql}; use memory")
        else:
            text = sql.replace("$window_days", str(COMEBACK_WINDOW_DAYS)).replace("$clock", mart.clock)
            connection.execute(f"create table new.{mart.name} as {text}")
