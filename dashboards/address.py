"""Read and write the view that an address holds, so that a view can be bookmarked."""

from __future__ import annotations

import datetime as dt
import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from urllib.parse import parse_qsl, urlencode

from analytics.day_asked import typed_day
from analytics.question import QuestionError
from analytics.scope import Scope

SCOPE_FILTERS = tuple(f.name for f in fields(Scope))
FILTERS = (*SCOPE_FILTERS, "as_of")
DAY_FILTERS = ("since", "until", "as_of")
_LONGEST = 2_000  # characters; no view of ours comes near


@dataclass(frozen=True)
class View:
    """Hold what an address asks for: the scope, the day, and the options of each section by its mark."""

    scope: Scope = field(default_factory=Scope)
    as_of: dt.date | None = None
    options: Mapping[str, Mapping[str, str]] = field(default_factory=dict)


def read_view(search: str | None) -> View:
    """Return the view in an address's query string ('?family=...&failure-rates.by=supplier').

    Raises QuestionError in one plain sentence where a filter is unknown, given twice, or not a day.
    """
    texts: dict[str, str] = {}
    options: dict[str, dict[str, str]] = {}
    for name, value in query_pairs(search):
        mark, dot, option = name.partition(".")
        if dot:
            options.setdefault(mark, {})[option] = value
        elif name not in FILTERS:
            raise QuestionError(f"there is no filter '{name[:60]}'{_meant(name)}")
        elif name in texts:
            raise QuestionError(f"the filter '{name}' is given twice in this address")
        else:
            texts[name] = value
    days = {name: _day(name, texts[name]) for name in DAY_FILTERS if name in texts}
    words = {name: texts[name] for name in SCOPE_FILTERS if name in texts and name not in DAY_FILTERS}
    scope = Scope(**words, since=days.get("since"), until=days.get("until"))
    if scope.since and scope.until and scope.since > scope.until:
        raise QuestionError(f"'since' ({scope.since}) lies after 'until' ({scope.until}): no job can lie between them")
    return View(scope, days.get("as_of"), options)


def query_pairs(search: str | None) -> list[tuple[str, str]]:
    """Return the names and filled values of a query string; raises QuestionError where it is too long to be ours."""
    text = (search or "").removeprefix("?")
    if len(text) > _LONGEST:
        raise QuestionError("this address is too long to hold a view of ours")
    return [(name, value) for name, value in parse_qsl(text, keep_blank_values=False) if value.strip()]


def narrowed(search: str | None, filters: Sequence[str]) -> str:
    """Return the query string with those of its filters that are among `filters`, and with no section's options."""
    kept = {name: value for name, value in query_pairs(search) if name in filters}
    return changed("", kept)


def changed(search: str | None, values: Mapping[str, str | None]) -> str:
    """Return the query string with the named values put in, or taken out where None or empty."""
    kept = {name: value for name, value in query_pairs(search) if name not in values}
    kept.update({name: str(value) for name, value in values.items() if value})
    order = {name: place for place, name in enumerate(FILTERS)}
    pairs = sorted(kept.items(), key=lambda pair: (order.get(pair[0], len(order)), pair[0]))
    return "?" + urlencode(pairs) if pairs else ""


def _day(name: str, text: str) -> dt.date:
    try:
        return typed_day(text)
    except ValueError:
        raise QuestionError(f"'{name}' takes a day such as 2024-03-31, not '{text[:40]}'") from None


def _meant(name: str) -> str:
    near = difflib.get_close_matches(name, FILTERS, n=1)
    return f"; did you mean '{near[0]}'?" if near else f"; there are {', '.join(FILTERS)}"
