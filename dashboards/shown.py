"""Hold an answer as it is shown."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from hashlib import blake2b
from typing import Any

from markupsafe import Markup

from analytics.answer import Answer


@dataclass(frozen=True)
class Shown:
    """Hold an answer ready for its section, made once however often it is shown.

    words: the sentence, the number and the places of the charts; drawings: what to draw in these, Vega as JSON; rest:
    the table and the grounds; keys: by what each row is known again (see `row_keys.py`).
    """

    answer: Answer
    words: Markup
    drawings: tuple[str, ...]
    rest: Markup
    keys: tuple[str, ...]

    @cached_property
    def stamp(self) -> str:
        """Return a digest of what is shown, the version of the records in its grounds included."""
        return blake2b(f"{self.words}{self.rest}".encode(), digest_size=9).hexdigest()

    def row_of(self, key: str) -> int | None:
        """Return the number of the row that `key` names, or None where there is none."""
        return self.keys.index(key) if key in self.keys else None

    def told(self, search: str) -> dict[str, Any]:
        """Return what the browser is told, with the view that it asked for."""
        charts = list(self.drawings)
        return {"words": self.words, "charts": charts, "rest": self.rest, "search": search, "stamp": self.stamp}
