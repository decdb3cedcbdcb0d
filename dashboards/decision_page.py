"""Show a page of decisions: its lead, its filters, and its sections."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dash import html
from dash.development.base_component import Component

from analytics.question import Option, Question
from dashboards.address import View
from dashboards.asking import Asking
from dashboards.cautions import cautions
from dashboards.filter_bar import filter_bar, shown_for
from dashboards.in_words import in_words
from dashboards.page import Page, Section
from dashboards.page_shown import PageShown, SectionShown
from dashboards.said import said_day
from dashboards.section_view import section_frame, section_place


def decision_page(page: Page, view: View, search: str, asking: Asking) -> PageShown:
    """Return the page with the answers that are at hand; the browser asks for the others, each on its own.

    So no section waits for another, and a page whose answers are kept comes whole.
    """
    parts: list[Component] = [
        html.H1(page.title, id="page-heading", tabIndex=-1),
        html.P(page.lead, className="lead"),
        *filter_bar(shown_for(view, said_day(asking.day(view)))),
    ]
    if page.cautions:
        parts.append(cautions())
    places = [section_place(page, section) for section in page.sections]
    sections = {section.mark: _section(section, view, search, asking) for section in page.sections}
    return PageShown([*parts, *places], sections)


def _section(section: Section, view: View, search: str, asking: Asking) -> SectionShown:
    options = section_options(section, asking.questions)
    given = view.options.get(section.mark, {})
    values = {option.name: given.get(option.name) or default_of(section, option) or "" for option in options}
    unusual = any(values[option.name] != (default_of(section, option) or "") for option in options)
    return SectionShown(section_frame(section, options, values, unusual), _kept(section, view, search, asking))


def _kept(section: Section, view: View, search: str, asking: Asking) -> dict[str, Any] | None:
    """Return the section's answer where it is kept; one that cannot be asked is refused when the browser asks for it."""
    shown = in_words(lambda: asking.kept(section, view), lambda why: None)
    return shown.told(search) if shown else None


def section_options(section: Section, questions: Mapping[str, Question]) -> tuple[Option, ...]:
    """Return the options of the section's question that people set, none where the question does not exist."""
    options = questions[section.question].options if section.question in questions else ()
    return tuple(option for option in options if option.shown)


def default_of(section: Section, option: Option) -> str | None:
    """Return an option's value where the address names none."""
    return section.options.get(option.name, option.default)
