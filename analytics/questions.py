"""List every question by name."""

from __future__ import annotations

from collections.abc import Mapping

from analytics.comebacks import COMEBACKS
from analytics.failure_rates import FAILURE_RATES
from analytics.parts_usage import PARTS_USAGE
from analytics.question import Question
from analytics.shim_corrections import SHIM_CORRECTIONS


def every_question() -> Mapping[str, Question]:
    """Return the questions by name, in the order in which they are shown."""
    questions: tuple[Question, ...] = (FAILURE_RATES, SHIM_CORRECTIONS, COMEBACKS, PARTS_USAGE)
    return {question.name: question for question in questions}
