"""Hold a page as it is shown: few components, and what the browser itself puts up in its sections."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from dash.development.base_component import Component
from markupsafe import Markup


@dataclass(frozen=True)
class SectionShown:
    """Hold a section as HTML text, and its answer (see `Shown.told`) where there is one already."""

    frame: Markup
    answer: Mapping[str, Any] | None = None


@dataclass(frozen=True)
class PageShown:
    """Hold a page's components, and by their marks the sections that stand in its places."""

    children: list[Component]
    sections: Mapping[str, SectionShown] = field(default_factory=dict)

    def told(self, title: str, search: str) -> dict[str, Any]:
        """Return what `arrive` in `assets/pages.js` is told: title, view, and each section's frame and answer."""
        sections = {mark: {"frame": one.frame, "answer": one.answer} for mark, one in self.sections.items()}
        return {"title": title, "search": search, "sections": sections}
