"""List every question by name."""

from __future__ import annotations

from collections.abc import Mapping

from analytics.comeback_rule import COMEBACK_RULE
from analytics.comebacks import COMEBACKS
from analytics.compare import COMPARE
from analytics.component_life import COMPONENT_LIFE
from analytics.due_for_rebuild import DUE_FOR_REBUILD
from analytics.failure_rates import FAILURE_RATES
from analytics.first_try_shims import FIRST_TRY_SHIMS
from analytics.gauge_check import GAUGE_CHECK
from analytics.goes_before_comebacks import GOES_BEFORE_COMEBACKS
from analytics.how_close_we_set import HOW_CLOSE_WE_SET
from analytics.parts_usage import PARTS_USAGE
from analytics.question import Question
from analytics.response import RESPONSE
from analytics.shim_corrections import SHIM_CORRECTIONS
from analytics.shim_demand import SHIM_DEMAND
from analytics.visits_per_unit import VISITS_PER_UNIT
from analytics.warranty_cost import WARRANTY_COST
from analytics.watch import WATCH
from analytics.what_to_expect import WHAT_TO_EXPECT
from analytics.which_lasts_longer import WHICH_LASTS_LONGER


def every_question() -> Mapping[str, Question]:
    """Return the questions by name, in the order in which they are shown."""
    questions: tuple[Question, ...] = (
        FAILURE_RATES, SHIM_CORRECTIONS, COMEBACKS, COMEBACK_RULE, PARTS_USAGE,
        FIRST_TRY_SHIMS, RESPONSE, HOW_CLOSE_WE_SET, GAUGE_CHECK, SHIM_DEMAND,
        COMPONENT_LIFE, WHICH_LASTS_LONGER, VISITS_PER_UNIT, DUE_FOR_REBUILD,
        WATCH, WHAT_TO_EXPECT, COMPARE, GOES_BEFORE_COMEBACKS, WARRANTY_COST,
    )  # fmt: skip
    return {question.name: question for question in questions}
