"""Show one section: the answer in words and one number, the charts, the table, the grounds, the jobs behind."""

from __future__ import annotations

import shlex
from collections.abc import Mapping, Sequence
from typing import Any

import polars as pl
from dash import dcc, html
from dash.development.base_component import Component
from markupsafe import Markup

from analytics.answer import Answer, Assumption, Column
from analytics.job_list import MOST_JOBS
from analytics.question import Option, Question
from analytics.scope import PRIVATE_OWNERS
from dashboards.compiled_chart import CompiledChart
from dashboards.controls import choice_control, text_control
from dashboards.job_links import job_link
from dashboards.markup import Content, as_html, attributes
from dashboards.page import Page, Section
from dashboards.row_keys import row_keys
from dashboards.said import said, said_day, said_sentence, said_together
from dashboards.shown import Shown
from dashboards.tables import rows_table, shown_columns

LEAST_CHART = 50  # pixels: its title and the words of its axis
MOST_BESIDE = 4  # controls that stand beside a section's heading; more are folded below the answer
FIRST_JOBS = 50  # listed at once; the older ones unfold
_LIMITS = ("from", "to")


def section_id(part: str, page: Page, section: Section) -> dict[str, str]:
    """Return the id of one part of a section."""
    return {"part": part, "section": f"{page.address}#{section.mark}"}


def section_place(page: Page, section: Section) -> html.Section:
    """Return the place of a section: few components, since the browser itself puts up what they hold.

    asked: the view in which the browser wants the section answered; answer: what it is answered with; picked: the row
    whose jobs are wanted; behind: these.
    """
    return html.Section(
        [
            html.Div(className="place"),
            dcc.Store(id=section_id("asked", page, section)),
            dcc.Store(id=section_id("answer", page, section)),
            dcc.Store(id=section_id("picked", page, section)),
            html.Div(id=section_id("behind", page, section), className="behind", **attributes(aria_live="polite")),
        ],
        id=section.mark,
        className="section",
        **attributes(aria_labelledby=f"{section.mark}-heading", data_section=f"{page.address}#{section.mark}"),
    )


def section_frame(section: Section, options: Sequence[Option], chosen: Mapping[str, str], unusual: bool) -> Markup:
    """Return a section that is still to be answered: its heading, its controls, and the places of the answer.

    Few controls stand beside the heading; many of them would push the answer down and stand below it, folded unless
    something `unusual` is chosen.
    """
    heading = html.H2(section.heading, id=f"{section.mark}-heading")
    controls = [_option(section, option, chosen.get(option.name)) for option in options]
    beside = html.Div(controls, className="options no-print")
    many = len(options) > MOST_BESIDE
    return as_html(
        [
            html.Div([heading] if many else [heading, beside], className="section-head"),
            html.Div(html.P("Counting ...", className="waiting"), className="body"),
            *([_folded(beside, is_open=unusual)] if many else []),
            html.Div(className="rest"),
        ]
    )


def _folded(controls: Component, is_open: bool) -> html.Details:
    return html.Details([html.Summary("Ask for another case"), controls], className="other-case no-print", open=is_open)


def shown_answer(
    section: Section,
    question: Question,
    answer: Answer,
    charts: Sequence[CompiledChart],
    options: Mapping[str, str],
) -> Shown:
    """Return the answer to the section's question, asked with `options`, ready to be shown."""
    keys = row_keys(
        answer.columns, answer.rows, answer.warehouse_version, section.known_by, in_this_version=section.of_one_unit
    )
    return Shown(
        answer=answer,
        words=as_html(_body(answer, charts)),
        drawings=tuple(chart.drawing for chart in charts),
        rest=as_html(_rest(section, question, answer, options, keys)),
        keys=keys,
    )


def refused_answer(reason: str, search: str) -> dict[str, Any]:
    """Return what the browser puts up in a section that cannot be answered: why, in one sentence."""
    return {"words": as_html(refused(reason)), "charts": [], "rest": "", "search": search}


def _body(answer: Answer, charts: Sequence[CompiledChart]) -> list[Component]:
    places = [
        html.Div(
            className="chart",
            role="img",
            style={"minHeight": f"{LEAST_CHART + chart.height}px"},  # so that what stands below moves little
            **attributes(aria_label=chart.description or "chart", data_place=str(place)),
        )
        for place, chart in enumerate(charts)
    ]
    return [_headline(answer), *places]


def _rest(
    section: Section, question: Question, answer: Answer, options: Mapping[str, str], keys: Sequence[str]
) -> list[Content]:
    parts = list[Content]()
    if answer.rows.height:
        label = f"{section.heading}: {answer.grain}"
        parts.append(html.P(_how_to_pick(answer, question), className="hint no-print"))
        parts.append(rows_table(answer.columns, answer.rows, label, section.table, section.narrow, keys))
    parts.append(_grounds(answer, options))
    return parts


def refused(reason: str) -> list[Component]:
    """Return what stands in a section that cannot be answered: why, in one sentence."""
    return [html.P(said_sentence(reason), className="refused", role="status")]


def jobs_behind(answer: Answer, row: Mapping[str, Any], jobs: pl.DataFrame, search: str) -> list[Component]:
    """Return one row in full and the jobs behind it, the newest first, each with the way to its sheet."""
    heading = html.H3(f"{_counted(jobs.height)} behind: {row_name(answer, row)}", tabIndex=-1)
    facts = [html.Div([html.Dt(c.heading), html.Dd(c.said(row))]) for c in shown_columns(answer.columns)]
    parts: list[Component] = [heading, html.Dl(facts, className="row-facts")]
    if jobs.is_empty():
        return parts
    newest = jobs.sort(["opened", "job"], descending=[True, False], nulls_last=True)
    parts.append(_job_table(newest.head(FIRST_JOBS), search))
    if newest.height > FIRST_JOBS:
        rest = html.Summary(f"Show the {newest.height - FIRST_JOBS} older jobs too")
        parts.append(html.Details([rest, _job_table(newest.tail(newest.height - FIRST_JOBS), search)]))
    return parts


def row_name(answer: Answer, row: Mapping[str, Any]) -> str:
    """Return what a row is about: what stands before its first estimate."""
    names: list[str] = []
    for shown in shown_columns(answer.columns):
        value = row[shown.column.name]
        if shown.low or isinstance(value, float):
            break
        if value is not None:
            word = shown.said(row)
            names.append(word if isinstance(value, str) else f"{shown.heading.lower()} {word}")
    return ", ".join(dict.fromkeys(names))


def _headline(answer: Answer) -> html.Div:
    number = [html.Span(answer.number, className="figure"), html.Span(answer.number_about, className="about")]
    return html.Div(
        [
            html.P(number if answer.number else "", className="number"),
            html.P(said_together(answer.sentence), className="sentence"),
        ],
        className="headline",
    )


def _option(section: Section, option: Option, value: str | None) -> Markup:
    name, about = f"{section.mark}.{option.name}", option.about[:1].upper() + option.about[1:]
    usual = section.options.get(option.name, option.default)
    if not option.choices:
        return text_control(name, about, value, usual)
    offered = [(choice, said(choice)) for choice in option.choices]
    return choice_control(name, about, offered, value, usual, none="any" if option.default is None else None)


def _how_to_pick(answer: Answer, question: Question) -> str:
    counted = f"{answer.rows.height} {'row' if answer.rows.height == 1 else 'rows'}; {answer.grain}."
    if question.jobs_behind is None:
        return counted
    return f"{counted} Choose a mark or a row (space bar on the keyboard) for the jobs behind it."


def _grounds(answer: Answer, options: Mapping[str, str]) -> html.Details:
    parts: list[Component] = [html.P(answer.method)]
    if answer.notes:
        parts.append(html.Ul([html.Li(note) for note in answer.notes]))
    if answer.assumptions:
        parts += [html.H3("What it takes for granted"), _ledger(answer.assumptions)]
    parts.append(_columns(answer.columns))
    asked = html.P(
        [
            f"As known on {said_day(answer.as_of)}, version {answer.warehouse_version} of the job records. "
            "The same at the command line: ",
            html.Code(_command(answer, options)),
        ],
        className="asked",
    )
    return html.Details([html.Summary("How this was worked out"), *parts, asked], className="grounds")


def _command(answer: Answer, options: Mapping[str, str]) -> str:
    """Return the command that asks the same."""
    words = ["layshaft", "show", answer.question, "--as-of", answer.as_of.isoformat()]
    for name, value in answer.filters.items():
        words += [f"--{name.replace('_', '-')}", value]
    for name, value in options.items():
        words += [f"--{name}", value]
    return shlex.join(words)


def _ledger(assumptions: Sequence[Assumption]) -> html.Div:
    headings = ("Rule", "In", "Left out", "Other rule", "The answer then")
    head = html.Thead(
        html.Tr([html.Th(h, scope="col", className="number" if h in ("In", "Left out") else "word") for h in headings])
    )
    rows = [
        html.Tr(
            [
                html.Td(line.rule, **attributes(data_heading="Rule")),
                html.Td(said(line.included), className="number", **attributes(data_heading="In")),
                html.Td(said(line.left_out), className="number", **attributes(data_heading="Left out")),
                html.Td(line.alternative or said(None), **attributes(data_heading="Other rule")),
                html.Td(line.moves or said(None), **attributes(data_heading="The answer then")),
            ]
        )
        for line in assumptions
    ]
    return html.Div(html.Table([head, html.Tbody(rows)], className="plain ledger"), className="scrolls")


def _columns(columns: Sequence[Column]) -> html.Dl:
    told = [html.Div([html.Dt(c.heading), html.Dd(c.about)]) for c in columns if c.about and c.heading not in _LIMITS]
    return html.Dl(told, className="columns")


def _job_table(jobs: pl.DataFrame, search: str) -> html.Div:
    headings = {
        "job": "Job", "unit": "Unit", "family": "Family", "kind": "Kind", "opened": "Opened", "delivered": "Delivered",
        "technician": "Technician", "fleet": "Fleet", "because": "Counts because",
    }  # fmt: skip
    present = {name: heading for name, heading in headings.items() if name in jobs.columns}
    head = html.Thead(html.Tr([html.Th(heading, scope="col") for heading in present.values()]))
    body = [
        html.Tr(
            [
                html.Td(_job_cell(name, row[name], search), **attributes(data_heading=heading))
                for name, heading in present.items()
            ]
        )
        for row in jobs.iter_rows(named=True)
    ]
    return html.Div(html.Table([head, html.Tbody(body)], className="plain jobs"), className="scrolls")


def _job_cell(name: str, value: Any, search: str) -> Component | str:
    if name == "job":
        return job_link(value, search)
    return PRIVATE_OWNERS if name == "fleet" and value is None else said(value)


def _counted(jobs: int) -> str:
    if jobs >= MOST_JOBS:
        return f"The newest {MOST_JOBS:,} jobs"
    return f"{jobs:,} {'job' if jobs == 1 else 'jobs'}"
