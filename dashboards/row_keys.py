"""Name the rows of an answer so that one that was chosen is known again after the records have changed."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Mapping, Sequence
from hashlib import blake2b
from typing import Any

import polars as pl

from analytics.answer import Column
from dashboards.tables import shown_columns

_BYTES = 9


def row_keys(
    columns: Sequence[Column],
    rows: pl.DataFrame,
    version: int,
    known_by: Sequence[str] = (),
    in_this_version: bool = False,
) -> tuple[str, ...]:
    """Return one short text a row, made of the cells that say what the row is about.

    These are the cells in `known_by`; where empty, those before the first estimate, counts left out, since the next
    load changes them. Rows that have all of these in common are told apart by everything they hold, and known again
    only in the same `version` of the records, as all are with `in_this_version`.
    """
    names = list(known_by) or naming_cells(columns, rows)
    told = list(rows.iter_rows(named=True))
    held = {"version": version} if in_this_version else {}
    keys = [_digest({**held, **{name: row[name] for name in names}}) for row in told]
    times = Counter(keys)
    return tuple(
        key if times[key] == 1 else _digest({"version": version, **row}) for key, row in zip(keys, told, strict=True)
    )


def naming_cells(columns: Sequence[Column], rows: pl.DataFrame) -> list[str]:
    """Return the columns that say what a row is about: words, days and whole numbers with a unit, such as a year."""
    names: list[str] = []
    for shown in shown_columns(columns):
        kind = rows.schema[shown.column.name]
        if shown.low or kind.is_float():
            break
        if not kind.is_integer() or shown.column.unit:
            names.append(shown.column.name)
    return names


def _digest(cells: Mapping[str, Any]) -> str:
    told = "\x1f".join(f"{name}={_plain(value)}" for name, value in cells.items())
    return blake2b(told.encode(), digest_size=_BYTES).hexdigest()


def _plain(value: Any) -> str:
    return value.isoformat() if isinstance(value, dt.date) else repr(value)
