"""Read a number as a person types it."""

from __future__ import annotations

import re
from collections.abc import Callable

from analytics.question import QuestionError

_BLANKS = re.compile("[ \u00a0\u2009\u202f]")  # plain, no-break, thin and narrow no-break: what sets thousands apart
_NUMBER = re.compile(r"(?P<whole>\d+|\d{1,3}(?: \d{3})+)?(?:[.,](?P<rest>\d+))?", re.ASCII)
_THOUSANDS = re.compile(r"[1-9]\d{0,2}(?P<mark>[.,])\d{3}(?:(?P=mark)\d{3})*", re.ASCII)


def typed_number(text: str, option: str, expected: str, possible: Callable[[float], bool]) -> float:
    """Return the number that an option's text means: digits, one decimal point or comma, thousands set apart by blanks.

    `expected` says in words what the option takes; `possible` tells which values there can be. A point or comma that
    may as well set thousands apart ("120.000") is refused, unless so many cannot be ("1.250" as mm of a pack).
    Raises QuestionError in one plain sentence for what cannot be read, cannot be, or may be meant either way.
    """
    plain = _BLANKS.sub(" ", text.strip().replace("\u2212", "-"))
    sign = -1.0 if plain.startswith("-") else 1.0
    bare = plain.removeprefix("-") if sign < 0 else plain.removeprefix("+")
    decimals, thousands = (
        [sign * value for value in read(bare) if possible(sign * value)] for read in (_with_decimals, _with_thousands)
    )
    if decimals and not thousands:
        return decimals[0]
    refused = f"option '{option}' takes {expected}, not '{text[:40]}'"
    if thousands:
        refused += f": write {' or '.join(f'{value:.15g}' for value in (*thousands, *decimals))}"
    raise QuestionError(refused)


def _with_decimals(text: str) -> tuple[float, ...]:
    """Return the number whose point or comma, if any, begins the decimals; nothing where the text is none."""
    found = _NUMBER.fullmatch(text)
    if not text or found is None:
        return ()
    return (float(f"{(found['whole'] or '0').replace(' ', '')}.{found['rest'] or '0'}"),)


def _with_thousands(text: str) -> tuple[float, ...]:
    """Return the number whose points or commas all set thousands apart; nothing where they cannot."""
    return (float(re.sub("[.,]", "", text)),) if _THOUSANDS.fullmatch(text) else ()
