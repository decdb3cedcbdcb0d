"""Show the whole sheet of one job."""

from __future__ import annotations

from dash import html
from dash.development.base_component import Component

from analytics.answer import Column
from analytics.job_sheet import JobSheet, SheetTable
from dashboards.cautions import cautions
from dashboards.job_links import job_link
from dashboards.markup import attributes
from dashboards.said import said, said_day
from dashboards.tables import plain_table

_LINKS = "other_job"


def job_page(sheet: JobSheet, search: str) -> list[Component]:
    """Return the page of one job: its head, then every table that has lines, in the order of the work."""
    filled = [table for table in sheet.tables if table.rows.height]
    empty = [table.heading[:1].lower() + table.heading[1:] for table in sheet.tables if not table.rows.height]
    parts: list[Component] = [
        html.H1(f"Job {sheet.job}", id="page-heading", tabIndex=-1),
        html.P(_lead(sheet), className="lead"),
    ]
    if sheet.holds_settings:
        parts.append(cautions())
    parts.append(_head(sheet))
    parts += [_table(table, search) for table in filled]
    if empty:
        parts.append(html.P(f"Nothing on record under: {'; '.join(empty)}.", className="hint"))
    parts.append(html.P(f"As known on {said_day(sheet.as_of)}.", className="asked"))
    return parts


def _lead(sheet: JobSheet) -> str:
    head = sheet.head
    words = f"{said(head['kind'])} of {said(head['unit_kind'] or 'unit')} {head['unit']}, family {said(head['family'])}"
    days = f"opened {said(head['opened'])}"
    if head["delivered"]:
        days += f", delivered {said(head['delivered'])}"
    return f"{words[:1].upper()}{words[1:]}; {days}."


def _head(sheet: JobSheet) -> html.Dl:
    told = [c for c in sheet.head_columns if sheet.head[c.name] is not None and c.name != "job"]
    return html.Dl([_fact(c, sheet) for c in told], className="facts")


def _fact(column: Column, sheet: JobSheet) -> html.Div:
    unit = f" {column.unit}" if column.unit else ""
    return html.Div([html.Dt(column.heading), html.Dd(said(sheet.head[column.name], column.unit) + unit)])


def _table(table: SheetTable, search: str) -> html.Section:
    mark = f"sheet-{table.name}"
    rows = plain_table(table.columns, table.rows, {_LINKS: lambda job: job_link(job, search)})
    heading = html.H2(table.heading, id=mark)
    return html.Section([heading, rows], className="sheet-table", **attributes(aria_labelledby=mark))
