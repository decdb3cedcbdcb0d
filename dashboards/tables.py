"""Show an answer's rows as a table: estimates with their limits in one column, values as people read them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import dash_ag_grid as dag
import polars as pl
from dash import html

from analytics.answer import Answer, Column
from dashboards.said import said, said_range

SAID = "__said"
ROWS_A_PAGE = 12


@dataclass(frozen=True)
class ShownColumn:
    """Hold one column as shown: an estimate carries the names of its limits, where it has them."""

    column: Column
    low: str | None = None
    high: str | None = None

    @property
    def heading(self) -> str:
        """Return the heading with its unit, where the values do not carry it."""
        unit = self.column.unit
        return f"{self.column.heading}, {unit}" if unit and unit not in ("share", "money") else self.column.heading

    def said(self, row: Mapping[str, Any]) -> str:
        """Return the row's value in words, with its limits where it has them."""
        value = row[self.column.name]
        if self.low and self.high:
            return said_range(value, row[self.low], row[self.high], self.column.unit)
        return said(value, self.column.unit)


def shown_columns(columns: Sequence[Column]) -> list[ShownColumn]:
    """Return the columns as shown: `x_low` and `x_high` are shown with the estimate that stands right before them."""
    shown: list[ShownColumn] = []
    names = [column.name for column in columns]
    skip = 0
    for place, column in enumerate(columns):
        if skip:
            skip -= 1
            continue
        following = names[place + 1 : place + 3]
        if len(following) == 2 and following[0].endswith("_low") and following[1].endswith("_high"):
            shown.append(ShownColumn(column, following[0], following[1]))
            skip = 2
        else:
            shown.append(ShownColumn(column))
    return shown


def answer_grid(answer: Answer, grid_id: Mapping[str, str], narrow: Sequence[str], label: str) -> dag.AgGrid:
    """Return the answer's rows as a grid; choosing a row (click, or space bar) picks it by its number."""
    columns = shown_columns(answer.columns)
    rows = [{"row": number, **_cells(row, columns)} for number, row in enumerate(answer.rows.iter_rows(named=True))]
    return dag.AgGrid(
        id=dict(grid_id),
        rowData=rows,
        columnDefs=[_definition(column, answer.rows, narrow) for column in columns],
        defaultColDef={
            "sortable": True, "resizable": True, "wrapHeaderText": True, "autoHeaderHeight": True, "wrapText": True,
            "autoHeight": True, "suppressHeaderMenuButton": True, "minWidth": 84,
        },
        dashGridOptions={
            "domLayout": "autoHeight", "pagination": len(rows) > ROWS_A_PAGE, "paginationPageSize": ROWS_A_PAGE,
            "paginationPageSizeSelector": False, "suppressCellFocus": False, "animateRows": False,
            "rowSelection": {"mode": "singleRow", "checkboxes": False, "enableClickSelection": True},
            "enableCellTextSelection": True, "ensureDomOrder": True,
            "ariaLabel": label,
        },
        getRowId="params.data.row",
        eventListeners={"gridSizeChanged": ["fitColumns(params)"]},
        style={"height": None},
    )  # fmt: skip


def plain_table(columns: Sequence[Column], rows: pl.DataFrame, caption: str = "") -> html.Div:
    """Return rows as a plain table, leaving out columns in which nothing is on record."""
    shown = [c for c in shown_columns(columns) if rows[c.column.name].null_count() < rows.height]
    head = [html.Th(c.heading, scope="col", className=_side(c, rows)) for c in shown]
    body = [
        html.Tr([html.Td(c.said(row), className=_side(c, rows), **{"data-heading": c.heading}) for c in shown])
        for row in rows.iter_rows(named=True)
    ]
    parts = [html.Thead(html.Tr(head)), html.Tbody(body)]
    if caption:
        parts.insert(0, html.Caption(caption))
    return html.Div(html.Table(parts, className="plain"), className="scrolls")


def _cells(row: Mapping[str, Any], columns: Sequence[ShownColumn]) -> dict[str, Any]:
    cells: dict[str, Any] = {}
    for shown in columns:
        value = row[shown.column.name]
        cells[shown.column.name] = value if isinstance(value, int | float | bool | None) else str(value)
        cells[shown.column.name + SAID] = shown.said(row)
    return cells


def _definition(shown: ShownColumn, rows: pl.DataFrame, narrow: Sequence[str]) -> dict[str, Any]:
    name = shown.column.name
    numeric = _side(shown, rows) == "number"
    return {
        "field": name,
        "headerName": shown.heading,
        "headerTooltip": shown.column.about or None,
        "valueFormatter": {"function": "said(params)"},
        "type": "rightAligned" if numeric else None,
        "cellDataType": False,
        "context": {"wide": bool(narrow) and name not in narrow},
        "flex": 2 if shown.low else 1,
    }


def _side(shown: ShownColumn, rows: pl.DataFrame) -> str:
    return "number" if rows.schema[shown.column.name].is_numeric() else "word"
