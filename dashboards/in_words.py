"""Turn a failure into the sentence that a page shows in its place."""

from __future__ import annotations

import logging
from collections.abc import Callable
from typing import TypeVar

from analytics.question import QuestionError
from analytics.warehouse_file import WarehouseError
from dashboards.web_rules import FAULT

Shown = TypeVar("Shown")
_LOG = logging.getLogger("layshaft.pages")


def in_words(answer: Callable[[], Shown], refuse: Callable[[str], Shown]) -> Shown:
    """Return what `answer` makes, or what `refuse` makes of the sentence that says why there is no answer.

    A question that cannot be asked and records that cannot be read say so themselves. A fault of ours is logged with
    its traceback, and the page says that there was one.
    """
    try:
        return answer()
    except (QuestionError, WarehouseError) as fault:
        return refuse(str(fault))
    except Exception:
        _LOG.exception("an answer failed")
        return refuse(FAULT)
