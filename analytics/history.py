"""Look at the workshop's history as it was known on a day."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import polars as pl

from analytics.scope import Scope
from analytics.warehouse_file import Warehouse

_KNOWN = re.compile(r"\bknown_([a-z_]+)\b")


@dataclass(frozen=True)
class History:
    """Hold a view of the job records: which version, as of which day, in which scope.

    In SQL given to `query`, `known_job` (and so on for every record and mart) stands for the rows known on `as_of`,
    with every field that became known later set to NULL. `$as_of` is the day.
    """

    warehouse: Warehouse
    as_of: dt.date
    scope: Scope = field(default_factory=Scope)

    def query(
        self, sql: str, parameters: Mapping[str, Any] | None = None, frames: Mapping[str, pl.DataFrame] | None = None
    ) -> pl.DataFrame:
        """Return the rows of `sql` over what was known on `as_of`, and over `frames`, by their names.

        Raises KeyError where `sql` names a record that does not exist.
        """
        views: dict[str, str] = {}
        self._add_views(views, sql)
        text = _with_views([f"known_{name} as ({view})" for name, view in views.items()], sql)
        values = dict(parameters or {})
        if "$as_of" in text:
            values["as_of"] = self.as_of
        return self.warehouse.query(text, values, frames)

    def within(self, scope: Scope) -> History:
        """Return the same history in another scope."""
        return replace(self, scope=scope)

    def on(self, as_of: dt.date) -> History:
        """Return the same history as of another day."""
        return replace(self, as_of=as_of)

    def _add_views(self, views: dict[str, str], sql: str) -> None:
        """Add what `sql` asks for, each view after those that it is made from."""
        for name in dict.fromkeys(_KNOWN.findall(sql)):
            if name not in views and (name in self._columns or name in self._asked_by_day):
                view = self._known(name)
                self._add_views(views, view)
                views[name] = view

    @cached_property
    def _asked_by_day(self) -> dict[str, str]:
        """Return marts in which more than the rows depends on the day: their names and the SQL that asks them again."""
        return dict(self.warehouse.query("select name, sql from mart_by_day").iter_rows())

    @cached_property
    def _columns(self) -> dict[str, list[tuple[str, str | None]]]:
        frame = self.warehouse.query("select record, column_name, clock from clock order by record, position")
        columns: dict[str, list[tuple[str, str | None]]] = {}
        for record, column, clock in frame.iter_rows():
            columns.setdefault(record, []).append((column, clock))
        return columns

    @cached_property
    def _everything_known(self) -> bool:
        """Return whether `as_of` lies after every date on record, so that nothing need be masked."""
        frame = self.warehouse.query("select latest from warehouse_format")
        latest = frame["latest"][0]
        return latest is None or self.as_of >= latest

    def _known(self, name: str) -> str:
        if self._everything_known:
            return f"select * from {name}"
        if name in self._asked_by_day:
            return self._asked_by_day[name]
        parts = [
            column if clock is None else f"case when {clock} <= $as_of then {column} end as {column}"
            for column, clock in self._columns[name]
        ]
        return f"select {', '.join(parts)} from {name} where known_on is null or known_on <= $as_of"


def _with_views(views: list[str], sql: str) -> str:
    if not views:
        return sql
    stripped = sql.lstrip()
    head = ", ".join(views)
    if stripped[:5].lower() == "with ":
        return f"with {head}, {stripped[5:]}"
    return f"with {head} {stripped}"
