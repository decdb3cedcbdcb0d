"""Show a page of decisions: its lead, its filters, and its sections to be answered."""

from __future__ import annotations

from collections.abc import Mapping

from dash import html
from dash.development.base_component import Component

from analytics.question import Option, Question
from dashboards.address import View
from dashboards.cautions import cautions
from dashboards.filter_bar import filter_bar
from dashboards.page import Page, Section
from dashboards.section_view import section_frame


def decision_page(page: Page, view: View, questions: Mapping[str, Question]) -> list[Component]:
    """Return the page before its sections are answered; each is answered on its own, so none waits for another."""
    parts: list[Component] = [
        html.H1(page.title, id="page-heading", tabIndex=-1),
        html.P(page.lead, className="lead"),
        filter_bar(),
    ]
    if page.cautions:
        parts.append(cautions())
    return [*parts, *[_section(page, section, view, questions) for section in page.sections]]


def _section(page: Page, section: Section, view: View, questions: Mapping[str, Question]) -> Component:
    options = section_options(section, questions)
    given = view.options.get(section.mark, {})
    values = {option.name: given.get(option.name) or default_of(section, option) or "" for option in options}
    unusual = any(values[option.name] != (default_of(section, option) or "") for option in options)
    return section_frame(page, section, options, values, unusual)


def section_options(section: Section, questions: Mapping[str, Question]) -> tuple[Option, ...]:
    """Return the options of the section's question that people set, none where the question does not exist."""
    options = questions[section.question].options if section.question in questions else ()
    return tuple(option for option in options if option.shown)


def default_of(section: Section, option: Option) -> str | None:
    """Return an option's value where the address names none."""
    return section.options.get(option.name, option.default)
