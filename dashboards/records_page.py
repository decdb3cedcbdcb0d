"""Show the health of the job records: what to put right, what looks odd, and where every row read stands."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import PurePath

import polars as pl
from dash import html
from dash.development.base_component import Component
from markupsafe import Markup

from analytics.answer import Column
from dashboards.markup import Content, as_html, attributes
from dashboards.page_shown import PageShown, SectionShown
from dashboards.records_standing import RecordsStanding
from dashboards.tables import plain_table, rows_table

MOST_ROWS = 1_000  # of one table on this page; `layshaft check` lists them all

_WRONG = (
    Column("file", "File"),
    Column("sheet", "Sheet"),
    Column("row_number", "Row"),
    Column("record", "Record"),
    Column("reason", "What is wrong"),
)
_ODD = (Column("about", "What looks odd"), Column("job", "Job"), Column("unit", "Unit"), Column("sentence", "Why"))
_WRONG_KINDS = (
    Column("record", "Record"),
    Column("field", "Field"),
    Column("rows", "Rows"),
    Column("example", "For example"),
)
_ODD_KINDS = (Column("about", "What looks odd"), Column("rows", "Entries"), Column("example", "For example"))
_FILES = (
    Column("file", "File"),
    Column("sheet", "Sheet"),
    Column("record", "Record"),
    Column("read", "Read"),
    Column("accepted", "Counted"),
    Column("duplicate", "Had already", "the same row was read before"),
    Column("superseded", "Corrected since", "a later row took its place; this one is kept beside it"),
    Column("quarantined", "To put right"),
)
_LOADS = (
    Column("load_id", "Load"),
    Column("loaded_at", "When (UTC)"),
    Column("files", "Files"),
    Column("read", "Rows read"),
    Column("to_put_right", "To put right now"),
    Column("mapping_version", "Mapping version"),
)


def records_page(standing: RecordsStanding) -> PageShown:
    """Return the page, all of it at once: it asks no question that takes long."""
    children = [
        html.H1("Records", id="page-heading", tabIndex=-1),
        html.P("Whether the figures rest on everything you keep, and what to mend first.", className="lead"),
        html.Div(
            [
                html.P(
                    [
                        html.Span(f"{standing.to_put_right.height:,}", className="figure"),
                        html.Span("rows to put right", className="about"),
                    ],
                    className="number",
                ),
                html.P(standing.sentence, className="sentence"),
            ],
            className="headline",
        ),
    ]
    parts = {
        "put-right": ("Which rows do we have to put right?", _put_right(standing.to_put_right)),
        "odd": ("What looks odd but is counted?", _odd(standing.flags)),
        "files": ("Where does every row we read stand?", _by_file(standing.files)),
        "loads": ("What was loaded when?", _loaded(standing)),
    }
    places = [_place(mark) for mark in parts]
    sections = {mark: SectionShown(_framed(mark, heading, part)) for mark, (heading, part) in parts.items()}
    return PageShown([*children, *places], sections)


def records_line(standing: RecordsStanding) -> list[Component]:
    """Return the records' line on the first page."""
    return [html.P(f"{standing.to_put_right.height:,}", className="figure"), html.P(standing.sentence)]


def _place(mark: str) -> html.Section:
    named = attributes(aria_labelledby=f"{mark}-heading")
    return html.Section(html.Div(className="place"), id=mark, className="section", **named)


def _framed(mark: str, heading: str, parts: Sequence[Content]) -> Markup:
    return as_html([html.H2(heading, id=f"{mark}-heading"), *parts])


def _put_right(wrong: pl.DataFrame) -> list[Content]:
    if wrong.is_empty():
        return [html.P("None.")]
    how = html.P(
        [
            "To mend them: ",
            html.Code("layshaft check --export mend.xlsx"),
            ", correct the rows in that workbook, then ",
            html.Code("layshaft load mend.xlsx"),
            ".",
        ],
        className="hint",
    )
    kinds = wrong.group_by("record", "field").agg(pl.len().alias("rows"), pl.col("reason").first().alias("example"))
    shown = wrong.head(MOST_ROWS).with_columns(_bare_file())
    return [
        how,
        *_cut(wrong),
        rows_table(_WRONG, shown, "Rows to put right", narrow=("file", "row_number", "reason")),
        _counted_by_kind(kinds, _WRONG_KINDS),
    ]


def _odd(flags: pl.DataFrame) -> list[Content]:
    if flags.is_empty():
        return [html.P("Nothing.")]
    kinds = flags.group_by("about").agg(pl.len().alias("rows"), pl.col("sentence").first().alias("example"))
    return [
        html.P(f"{flags.height:,} {'entry' if flags.height == 1 else 'entries'}.", className="hint"),
        *_cut(flags),
        rows_table(_ODD, flags.head(MOST_ROWS), "Entries that look odd", narrow=("job", "sentence")),
        _counted_by_kind(kinds, _ODD_KINDS),
    ]


def _by_file(files: pl.DataFrame) -> list[Content]:
    if files.is_empty():
        return [html.P("Nothing was read yet.")]
    ordered = files.sort(["quarantined", "file", "sheet", "record"], descending=[True, False, False, False])
    shown = ordered.head(MOST_ROWS).with_columns(_bare_file())
    told = "Every row read is counted, had already, corrected since, or to put right: the four add up to what was read."
    return [
        html.P(told, className="hint"),
        *_cut(files),
        rows_table(_FILES, shown, "Rows by file", narrow=("file", "record", "quarantined")),
    ]


def _counted_by_kind(kinds: pl.DataFrame, columns: Sequence[Column]) -> html.Details:
    ordered = kinds.sort(["rows", columns[0].name], descending=[True, False])
    return html.Details([html.Summary("Counted by kind"), plain_table(columns, ordered)], className="grounds")


def _loaded(standing: RecordsStanding) -> list[Content]:
    others = ", ".join(str(number) for number in standing.kept if number != standing.version) or "none"
    told = f"Shown is version {standing.version}; older versions kept to look back at: {others}."
    return [html.P(told, className="hint"), plain_table(_LOADS, standing.loads.head(30))]


def _cut(frame: pl.DataFrame) -> list[Component]:
    if frame.height <= MOST_ROWS:
        return []
    return [
        html.P(
            f"The first {MOST_ROWS:,} of {frame.height:,} are shown; layshaft check lists them all.", className="hint"
        )
    ]


def _bare_file() -> pl.Expr:
    return pl.col("file").map_elements(lambda path: PurePath(path).name, return_dtype=pl.String)
