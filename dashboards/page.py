"""Hold what a page is: a decision, and the sections that answer it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from dashboards.chart_function import ChartFunction

ALL_FILTERS = (
    "family", "component", "position", "supplier", "technician", "fleet", "duty", "kind", "since", "until", "as_of",
)  # fmt: skip


@dataclass(frozen=True)
class Section:
    """Declare one section of a page: the question it asks and how the answer is shown.

    `heading` is the decision as the workshop would ask it. `options` are the question's options where they differ
    from its own defaults. `charts` are pure functions of the answer; one that has nothing to draw returns None.
    `table` names the columns of the table, in the answer's order (all of them where empty); the others come with the
    row that is chosen. `narrow` names those that stay on a phone. `name` marks the section in addresses, and is the
    question's name unless a page asks one question twice. `on_start` puts the answer's sentence on the first page.
    `known_by` names the cells by which a row that was chosen is known again after the records have changed, where they
    are others than those before its first estimate. `of_one_unit` says that the whole answer is about one unit, which the
    next load may exchange for another where the view names none: a row of it is then known again in no other version.
    """

    question: str
    heading: str
    charts: tuple[ChartFunction, ...] = ()
    table: tuple[str, ...] = ()
    narrow: tuple[str, ...] = ()
    options: Mapping[str, str] = field(default_factory=dict)
    name: str = ""
    on_start: bool = True
    known_by: tuple[str, ...] = ()
    of_one_unit: bool = False

    @property
    def mark(self) -> str:
        """Return the section's name in addresses and anchors."""
        return self.name or self.question


@dataclass(frozen=True)
class Page:
    """Declare one page: its address, the person it is for, and its sections in the order of the decisions.

    `cautions` shows the usual cautions, for pages with settings on them.
    """

    address: str
    title: str
    lead: str
    sections: tuple[Section, ...]
    filters: tuple[str, ...] = ALL_FILTERS
    cautions: bool = False

    def section_named(self, mark: str) -> Section:
        """Return the section called `mark`; raises KeyError where the page has none."""
        for section in self.sections:
            if section.mark == mark:
                return section
        raise KeyError(f"'{self.title}' has no section '{mark}'")
