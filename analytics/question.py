"""Hold what a question is, and find one by name."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import polars as pl

from analytics.answer import Answer
from analytics.history import History


class QuestionError(Exception):
    """Say in one plain sentence why a question cannot be asked like this."""


@dataclass(frozen=True)
class Option:
    """Describe one option of a question beyond the scope filters: `--name VALUE`.

    `shown` is false where the program itself fills it in, so that a page does not ask for it.
    """

    name: str
    about: str
    choices: tuple[str, ...] = ()
    default: str | None = None
    shown: bool = True


@dataclass(frozen=True)
class Question:
    """Describe one question: its name, what it answers, for whom, and the functions that answer it.

    `ask(history, options)` returns the Answer; `options` holds the chosen value per option name.
    `jobs_behind(history, row)` returns the jobs behind one row of the answer, one row per job with the columns
    job, unit, family, kind, opened, delivered, technician, fleet and what made it count (`because`).
    """

    name: str
    about: str
    for_whom: str
    ask: Callable[[History, Mapping[str, str]], Answer]
    options: tuple[Option, ...] = ()
    jobs_behind: Callable[[History, Mapping[str, str]], pl.DataFrame] | None = None

    def chosen(self, given: Mapping[str, str]) -> dict[str, str]:
        """Return every option's value, the default where none is given.

        Raises QuestionError naming the options or choices that exist.
        """
        names = {option.name for option in self.options}
        for name in given:
            if name not in names:
                raise QuestionError(f"'{self.name}' has no option '{name}'{_meant(name, names)}")
        values: dict[str, str] = {}
        for option in self.options:
            value = given.get(option.name, option.default)
            if value is None:
                continue
            if option.choices and value not in option.choices:
                raise QuestionError(
                    f"option '{option.name}' of '{self.name}' is one of {', '.join(option.choices)}, not '{value}'"
                )
            values[option.name] = value
        return values


def find_question(name: str, questions: Mapping[str, Question]) -> Question:
    """Return the question called `name`; raises QuestionError with the nearest that exists."""
    if name not in questions:
        raise QuestionError(f"there is no question '{name}'{_meant(name, questions)}")
    return questions[name]


def _meant(name: str, known: Mapping[str, object] | set[str]) -> str:
    near = difflib.get_close_matches(name, list(known), n=1)
    exist = ", ".join(sorted(known)) or "none"
    return f"; did you mean '{near[0]}'?" if near else f"; there are: {exist}"
