"""Show an answer's rows as a table: estimates with their limits in one column, values as people read them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import polars as pl
from dash import html
from dash.development.base_component import Component
from markupsafe import Markup, escape

from analytics.answer import Column
from dashboards.markup import attributes
from dashboards.said import read_unit, said, said_range

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


def rows_table(
    columns: Sequence[Column],
    frame: pl.DataFrame,
    label: str,
    kept: Sequence[str] = (),
    narrow: Sequence[str] = (),
    keys: Sequence[str] = (),
) -> Markup:
    """Return rows as a table to sort, turn and choose from, with the columns in `kept` (all where empty).

    Columns in which nothing is on record are left out; those in `narrow` stay where there is little room. A cell
    holds what to sort by where the words do not sort, and a row its key where `keys` gives one for each. What the table
    does stands in `assets/tables.js`.
    """
    shown = [_TableColumn.of(c, frame, narrow) for c in shown_columns(columns) if not kept or c.column.name in kept]
    shown = [one for one in shown if one.column.on_record(frame)]
    head = Markup("").join(one.head() for one in shown)
    named = keys or [""] * frame.height
    rows = enumerate(zip(frame.iter_rows(named=True), named, strict=True))
    body = Markup("".join(_row(number, row, key, shown) for number, (row, key) in rows))
    table = Markup(
        '<table class="rows" role="grid" aria-label="{}"><thead><tr>{}</tr></thead><tbody>{}</tbody></table>'
    ).format(label, head, body)
    return Markup('<div class="table" data-page="{}"><div class="scrolls">{}</div>{}</div>').format(
        ROWS_A_PAGE, table, _turner(frame.height)
    )


@dataclass(frozen=True)
class _TableColumn:
    """Hold a column with its classes: what kind of value it holds, and whether it goes where there is little room."""

    column: ShownColumn
    classes: str

    @classmethod
    def of(cls, column: ShownColumn, frame: pl.DataFrame, narrow: Sequence[str]) -> _TableColumn:
        wide = bool(narrow) and column.column.name not in narrow
        return cls(column, f"{_side(column, frame)}{' wide' if wide else ''}")

    def head(self) -> Markup:
        about = self.column.column.about
        title = Markup(' title="{}"').format(about) if about else ""
        return Markup('<th scope="col" class="{}"{}><button type="button" tabindex="-1">{}</button></th>').format(
            self.classes, title, self.column.heading
        )

    def cell(self, row: Mapping[str, Any]) -> str:
        """Return a cell. There are thousands, so it is put together by hand: only words need escaping."""
        value, said = row[self.column.column.name], escape(self.column.said(row))
        if isinstance(value, str):
            return f'<td class="{self.classes}">{said}</td>'
        sorted_by = "" if value is None else int(value) if isinstance(value, bool) else escape(value)
        return f'<td class="{self.classes}" data-value="{sorted_by}">{said}</td>'


def _row(number: int, row: Mapping[str, Any], key: str, shown: Sequence[_TableColumn]) -> str:
    reached = 0 if number == 0 else -1  # by the tabulator; the arrows lead on from there
    hidden = " hidden" if number >= ROWS_A_PAGE else ""
    named = f' data-key="{key}"' if key else ""
    cells = "".join(one.cell(row) for one in shown)
    return f'<tr data-row="{number}"{named} tabindex="{reached}"{hidden}>{cells}</tr>'


def _turner(rows: int) -> Markup:
    if rows <= ROWS_A_PAGE:
        return Markup()
    return Markup(
        '<p class="turner no-print"><button type="button" data-turn="-1" disabled>Rows before</button>'
        '<span role="status">Rows 1 to {} of {}</span>'
        '<button type="button" data-turn="1">Rows after</button></p>'
    ).format(ROWS_A_PAGE, rows)


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


def _side(shown: ShownColumn, rows: pl.DataFrame) -> str:
    kind = rows.schema[shown.column.name]
    return "number" if kind.is_numeric() else "day" if kind.is_temporal() else "word"
