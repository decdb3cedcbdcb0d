"""Hold an answer as it is shown."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from analytics.answer import Answer


@dataclass(frozen=True)
class Shown:
    """Hold an answer ready for its section, made once however often it is shown.

    words: the sentence, the number and the places of the charts; drawings: what to draw in these, Vega as JSON; rest:
    the table and the grounds.
    """

    answer: Answer
    words: Markup
    drawings: tuple[str, ...]
    rest: Markup

    def told(self, search: str) -> dict[str, Any]:
        """Return what the browser is told, with the view that it asked for."""
        return {"words": self.words, "charts": list(self.drawings), "rest": self.rest, "search": search}
