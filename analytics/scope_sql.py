"""Turn a scope into SQL conditions with parameters."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from analytics.question import QuestionError
from analytics.scope import PRIVATE_OWNERS, Scope


def conditions(scope: Scope, columns: Mapping[str, str], day: str | None = None) -> tuple[str, dict[str, Any]]:
    """Return a condition and its parameters; `columns` maps filter names to SQL expressions.

    `day` is the SQL date that `since` and `until` bound. Raises QuestionError for a filter that has no meaning here.
    """
    tests, values = ["true"], {}
    for name, value in scope.filters().items():
        if name in ("since", "until"):
            if day is None:
                raise QuestionError(f"this question cannot be limited by '{name}'")
            tests.append(f"{day} {'>=' if name == 'since' else '<='} ${name}")
            values[name] = getattr(scope, name)
        elif name not in columns:
            known = ", ".join(columns)
            raise QuestionError(f"this question cannot be limited by '{name}'; it can by {known}")
        elif name == "fleet" and value == PRIVATE_OWNERS:
            tests.append(f"{columns[name]} is null")
        else:
            tests.append(f"{columns[name]} = ${name}")
            values[name] = value
    return " and ".join(tests), values
