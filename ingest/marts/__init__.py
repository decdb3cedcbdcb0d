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


_SETTLED = "settled_on"
_WHEN_SETTLED = ("outcome", "payer", "position", "damage_mode", "cost_cents")

MARTS: tuple[Mart, ...] = (
    Mart("component_finding", {"action": _SETTLED}),
    Mart("comeback_link", dict.fromkeys(_WHEN_SETTLED, _SETTLED)),
    Mart("pack"),
    Mart("part_use"),
)


def build_marts(connection: duckdb.DuckDBPyConnection) -> None:
    """Create every mart in schema `new`."""
    for mart in MARTS:
        sql = resources.files(__package__).joinpath(f"{mart.name}.sql").read_text()
        connection.execute(f"create table new.{mart.name} as {sql.replace('$window_days', str(COMEBACK_WINDOW_DAYS))}")
