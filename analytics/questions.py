"""List every question by name."""

from __future__ import annotations

from collections.abc import Mapping

from analytics.question import Question


def every_question() -> Mapping[str, Question]:
    """Return the questions by name, in the order in which they are shown."""
    questions: tuple[Question, ...] = ()
    return {question.name: question for question in questions}
