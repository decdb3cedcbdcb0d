"""Settle how the columns of a planned sheet write numbers and dates, from what the sheet holds."""

from __future__ import annotations

from dataclasses import replace

import duckdb

from ingest.plan import ColumnPlan, LoadError, SheetPlan
from ingest.record_model import Kind
from ingest.writing_style import NumberEvidence, date_order, decimal_mark, number_evidence

_NUMBERS = (Kind.MEASURE, Kind.READING, Kind.COUNT)
# In a typed sheet only these texts say anything: number cells have no comma and no zero at the end of a fraction.
_WRITTEN_BY_HAND = r"contains({0}, ',') or regexp_full_match({0}, '[-+]?[1-9]\d{{0,2}}(\.\d{{3}})*\.\d\d0')"
_WITH_MARK = "contains({0}, ',') or contains({0}, '.')"
# A plain decimal with a point, which is no thousand in groups.
_PLAIN_POINT = r"regexp_full_match({0}, '[-+]?(\d*\.(\d{{0,2}}|\d{{4,}})|0*\.\d{{3}}|\d{{4,}}\.\d{{3}})')"


def settle_writing_style(connection: duckdb.DuckDBPyConnection, plan: SheetPlan) -> SheetPlan:
    """Return the plan with the decimal mark and date order of every column settled from its values.

    Raises LoadError where a column's values contradict each other or leave two readings open.
    """
    columns = _settle_decimals(connection, plan)
    return replace(plan, columns=tuple(_settle_date(connection, plan, c) for c in columns))


def _settle_decimals(connection: duckdb.DuckDBPyConnection, plan: SheetPlan) -> list[ColumnPlan]:
    open_columns = [c for c in plan.columns if c.field.kind in _NUMBERS and c.source and c.decimal is None]
    if not open_columns:
        return list(plan.columns)
    look = (
        _evidence if plan.table.typed_cells or _comma_is_possible(connection, plan, open_columns) else _point_evidence
    )
    evidence = {column.heading: look(connection, plan, str(column.source)) for column in open_columns}
    mark = decimal_mark(plan.table.place, evidence)
    return [replace(c, decimal=mark) if c in open_columns else c for c in plan.columns]


def _comma_is_possible(connection: duckdb.DuckDBPyConnection, plan: SheetPlan, columns: list[ColumnPlan]) -> bool:
    """Return whether any value may have a decimal comma: it holds a comma, or more than one point."""
    tests = [f"bool_or(contains({c.source}, ',') or {c.source} like '%.%.%')" for c in columns]
    found = connection.execute(f"select {' or '.join(tests)} from {plan.table.raw_table}").fetchall()
    return bool(found[0][0])


def _point_evidence(connection: duckdb.DuckDBPyConnection, plan: SheetPlan, source: str) -> NumberEvidence:
    """Return the evidence of a column without commas: the first plain decimal settles it, and most columns hold one."""
    table, plain = plan.table.raw_table, _PLAIN_POINT.format(source)
    rows = connection.execute(
        f"select {source} from {table} where contains({source}, '.') and {plain} limit 1"
    ).fetchall()
    return NumberEvidence(point=rows[0][0]) if rows else _evidence(connection, plan, source)


def _evidence(connection: duckdb.DuckDBPyConnection, plan: SheetPlan, source: str) -> NumberEvidence:
    """Return the evidence of a column from one text of each shape.

    Which mark a text settles follows from its marks, its groups and a zero ahead.
    """
    telling = (_WRITTEN_BY_HAND if plan.table.typed_cells else _WITH_MARK).format(source)
    rows = connection.execute(
        f"select min(t) from (select trim({source}) as t from {plan.table.raw_table} where {telling}) "
        "group by translate(t, '123456789', '000000000'), ltrim(t, '+-')[1] = '0' order by 1"
    ).fetchall()
    return number_evidence(row[0] for row in rows)


def _settle_date(connection: duckdb.DuckDBPyConnection, plan: SheetPlan, column: ColumnPlan) -> ColumnPlan:
    if column.field.kind is not Kind.DATE or column.source is None or column.date_order is not None:
        return column
    rows = connection.execute(
        f"select distinct trim({column.source}) from {plan.table.raw_table} where {column.source} is not null "
        f"and not (length({column.source}) = 10 and {column.source}[5] = '-') order by 1"
    ).fetchall()
    return replace(column, date_order=date_order(plan.table.place, column.heading, [row[0] for row in rows]))


def check_units_known(plan: SheetPlan) -> None:
    """Raise LoadError where a measure's planned unit is no unit of its dimension."""
    for column in plan.columns:
        dimension = column.field.dimension
        if dimension is not None and column.unit is not None and column.unit not in dimension.units:
            raise LoadError(
                f"{plan.table.place}, column '{column.heading}': '{column.unit}' is no unit of {dimension.name}; "
                f"expected one of {', '.join(dimension.units)}"
            )
