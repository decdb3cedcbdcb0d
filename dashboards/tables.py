"""Show an answer's rows as a table: estimates with their limits in one column, values as people read them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import dash_ag_grid as dag
import polars as pl
from dash import html
from dash.development.base_component import Component

from analytics.answer import Column
from dashboards.markup import attributes
from dashboards.said import read_unit, said, said_range

SAID = "__said"
ROWS_A_PAGE = 12
WORDS = "said"  # the column that says in words why a row has no estimate


@dataclass(frozen=True)
class ShownColumn:
    """Hold one column as shown: an estimate carries the names of its limits, and of the words where there is none."""

    column: Column
    low: str | None = None
    high: str | None = None
    instead: str | None = None

    @property
    def heading(self) -> str:
        """Return the heading with its unit, where neither the values nor the heading say it already."""
        heading, unit = self.column.heading, read_unit(self.column.unit)
        return f"{heading}, {unit}" if unit and unit.lower().rstrip("s") not in heading.lower() else heading

    def on_record(self, rows: pl.DataFrame) -> bool:
        """Return whether any row has something to show here: a value, or words in its place."""
        names = [self.column.name, *([self.instead] if self.instead else [])]
        return any(rows[name].null_count() < rows.height for name in names)

    def said(self, row: Mapping[str, Any]) -> str:
        """Return the row's value in words, with its limits where it has them."""
        value = row[self.column.name]
        if value is None and self.instead and row[self.instead]:
            return str(row[self.instead])
        if self.low and self.high:
            return said_range(value, row[self.low], row[self.high], self.column.unit)
        return said(value, self.column.unit)


def shown_columns(columns: Sequence[Column]) -> list[ShownColumn]:
    """Return the columns as shown.

    `low` and `high` (or `x_low` and `x_high`) are shown with the estimate that stands right before them, and the
    words in `said` in place of the first estimate where a row has too few to say.
    """
    words = WORDS if any(column.name == WORDS for column in columns) else None
    shown: list[ShownColumn] = []
    places = iter(enumerate(columns))
    for place, column in places:
        following = [after.name for after in columns[place + 1 : place + 3]]
        if column.name == WORDS:
            continue
        if _are_limits(following):
            first = not any(before.low for before in shown)
            shown.append(ShownColumn(column, following[0], following[1], words if first else None))
            next(places), next(places)
        else:
            shown.append(ShownColumn(column))
    return shown


def _are_limits(names: Sequence[str]) -> bool:
    if len(names) != 2:
        return False
    low, high = names
    return (low, high) == ("low", "high") or (low.endswith("_low") and high.endswith("_high"))


def grid(
    columns: Sequence[Column],
    frame: pl.DataFrame,
    grid_id: Mapping[str, str],
    label: str,
    kept: Sequence[str] = (),
    narrow: Sequence[str] = (),
) -> html.Div:
    """Return rows as a grid with the columns named in `kept` (all where empty); those in `narrow` stay on a phone.

    Columns in which nothing is on record are left out. Choosing a row (click, or space bar) picks it by its number.
    """
    shown = [c for c in shown_columns(columns) if (not kept or c.column.name in kept) and c.on_record(frame)]
    rows = [
        {"row": number, "row_id": str(number), **_cells(row, shown)}
        for number, row in enumerate(frame.iter_rows(named=True))
    ]
    table = dag.AgGrid(
        id=dict(grid_id),
        rowData=rows,
        columnDefs=[_definition(c, rows, _side(c, frame) == "number", narrow) for c in shown],
        defaultColDef={
            "sortable": True, "resizable": True, "wrapHeaderText": True, "autoHeaderHeight": True, "wrapText": True,
            "autoHeight": True, "suppressHeaderMenuButton": True,
        },
        dashGridOptions={
            "domLayout": "autoHeight", "pagination": len(rows) > ROWS_A_PAGE, "paginationPageSize": ROWS_A_PAGE,
            "paginationPageSizeSelector": False, "animateRows": False, "ensureDomOrder": True,
            "rowSelection": {"mode": "singleRow", "checkboxes": False, "enableClickSelection": True},
            "enableCellTextSelection": True,
        },
        getRowId="params.data.row_id",
        eventListeners={"gridSizeChanged": ["fitColumns(params)"]},
        style={"height": None},
    )  # fmt: skip
    return html.Div(table, role="group", **attributes(aria_label=label))


def plain_table(
    columns: Sequence[Column], rows: pl.DataFrame, links: Mapping[str, Callable[[str], Component]] | None = None
) -> html.Div:
    """Return rows as a plain table, leaving out columns in which nothing is on record.

    `links` gives, by column, what makes a link of a value.
    """
    shown = [c for c in shown_columns(columns) if c.on_record(rows)]
    head = [html.Th(c.heading, scope="col", className=_side(c, rows)) for c in shown]
    body = [html.Tr([_cell(c, row, rows, links or {}) for c in shown]) for row in rows.iter_rows(named=True)]
    return html.Div(html.Table([html.Thead(html.Tr(head)), html.Tbody(body)], className="plain"), className="scrolls")


def _cell(
    shown: ShownColumn, row: Mapping[str, Any], rows: pl.DataFrame, links: Mapping[str, Callable[[str], Component]]
) -> html.Td:
    link, value = links.get(shown.column.name), row[shown.column.name]
    content = link(str(value)) if link and value is not None else shown.said(row)
    side = _side(shown, rows) if value is not None else f"{_side(shown, rows)} nothing"
    return html.Td(content, className=side, **attributes(data_heading=shown.heading))


def _cells(row: Mapping[str, Any], columns: Sequence[ShownColumn]) -> dict[str, Any]:
    cells: dict[str, Any] = {}
    for shown in columns:
        value = row[shown.column.name]
        cells[shown.column.name] = value if isinstance(value, int | float | bool | None) else str(value)
        cells[shown.column.name + SAID] = shown.said(row)
    return cells


def _definition(shown: ShownColumn, rows: Sequence[Mapping[str, Any]], number: bool, narrow: Sequence[str]) -> Any:
    name = shown.column.name
    longest = max((len(row[name + SAID]) for row in rows), default=0)
    return {
        "field": name,
        "headerName": shown.heading,
        "headerTooltip": shown.column.about or None,
        "valueFormatter": {"function": "said(params)"},
        "type": "rightAligned" if number else None,
        "cellDataType": False,
        "context": {"wide": bool(narrow) and name not in narrow},
        "flex": min(max(longest, *map(len, shown.heading.split()), 8), 26),
        "minWidth": 92 if number and not shown.low else 96,
    }


def _side(shown: ShownColumn, rows: pl.DataFrame) -> str:
    kind = rows.schema[shown.column.name]
    return "number" if kind.is_numeric() else "day" if kind.is_temporal() else "word"
