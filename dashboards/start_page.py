"""Show what each person should look at this week: one line for each answer."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from dash import dcc, html
from dash.development.base_component import Component

from analytics.answer import Answer
from dashboards.markup import attributes
from dashboards.page import Page, Section
from dashboards.said import said_sentence, said_together
from dashboards.section_view import section_id

Line = Callable[[Page, Section], list[Component] | None]


def start_page(pages: Sequence[Page], day: str, line: Line) -> list[Component]:
    """Return the first page with the lines that are at hand; `line` gives a section's, or None where it is not."""
    return [
        html.H1("What to look at this week", id="page-heading", tabIndex=-1),
        html.P(f"One line for each decision, as known on {day}.", className="lead"),
        *[_person(page, line) for page in pages],
        html.Section(
            [
                html.H2(dcc.Link("Records", href="/records"), id="start-records"),
                html.Ul(html.Li(_waiting(), id="records-line"), className="lines"),
            ],
            className="person",
            **attributes(aria_labelledby="start-records"),
        ),
    ]


def answered_line(page: Page, section: Section, answer: Answer) -> list[Component]:
    """Return one answered line: the number, the sentence, the way to the section."""
    return [
        html.P(answer.number or " ", className="figure"),
        html.P([f"{said_together(answer.sentence)} ", _link(page, section)]),
    ]


def unanswered_line(page: Page, section: Section, sentence: str) -> list[Component]:
    """Return a line that could not be answered, with the reason."""
    return [html.P(" ", className="figure"), html.P([f"{said_sentence(sentence)} ", _link(page, section)])]


def _link(page: Page, section: Section) -> dcc.Link:
    return dcc.Link(section.heading, href=f"{page.address}#{section.mark}", className="onward")


def _waiting() -> html.P:
    return html.P("Counting ...", className="waiting")


def _person(page: Page, line: Line) -> html.Section:
    mark = f"start-{page.address.strip('/')}"
    lines = [_line(page, section, line(page, section)) for section in page.sections if section.on_start]
    return html.Section(
        [html.H2(dcc.Link(page.title, href=page.address), id=mark), html.Ul(lines, className="lines")],
        className="person",
        **attributes(aria_labelledby=mark),
    )


def _line(page: Page, section: Section, answered: list[Component] | None) -> html.Li:
    """Return one line; where it is not answered yet, its id has the callback answer it as soon as it stands there."""
    if answered is None:
        return html.Li(_waiting(), id=section_id("line-to-ask", page, section))
    return html.Li(answered, id=section_id("line", page, section))
