"""List what each filter of a scope can be set to, and check a scope against it."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence

from analytics.history import History
from analytics.question import QuestionError
from analytics.scope import PRIVATE_OWNERS, Scope

_CHOICES = """
with told as (
    select 'family' as filter, family as choice from known_unit
    union all select 'kind', kind from known_job
    union all select 'technician', technician from known_job
    union all select 'duty', duty from known_job
    union all select 'duty', duty from known_fitting
    union all select 'fleet', coalesce(nullif(fleet, ''), $private) from known_job
    union all select 'fleet', fleet from known_fitting
    union all select 'supplier', supplier from known_part_line
    union all select 'component', component from known_position where $family is null or family = $family
    union all select 'component', component from known_part
    union all select 'position', position from known_position
        where ($family is null or family = $family) and ($component is null or component = $component)
)
select distinct filter, choice from told where choice is not null and choice <> '' order by filter, choice
"""


def scope_choices(history: History) -> dict[str, list[str]]:
    """Return the values on record for each word filter, sorted, as known on the history's day.

    Keys: family, component, position, supplier, technician, fleet, duty, kind. Positions are those of the scope's
    family and component where it names them.
    """
    scope = history.scope
    told = history.query(_CHOICES, {"private": PRIVATE_OWNERS, "family": scope.family, "component": scope.component})
    names = ("family", "component", "position", "supplier", "technician", "fleet", "duty", "kind")
    choices: dict[str, list[str]] = {name: [] for name in names}
    for name, choice in told.iter_rows():
        choices[name].append(choice)
    return choices


def check_scope(scope: Scope, choices: Mapping[str, Sequence[str]]) -> None:
    """Check that every word filter of the scope names something on record, and that its days are in order.

    Raises QuestionError with the nearest that exists.
    """
    if scope.since and scope.until and scope.since > scope.until:
        raise QuestionError(f"'since' ({scope.since}) lies after 'until' ({scope.until}): no job can lie between them")
    for name, known in choices.items():
        value = getattr(scope, name)
        if value is not None and value not in known:
            within = " in this scope" if name in ("component", "position") and (scope.family or scope.component) else ""
            raise QuestionError(f"there is no {name} '{value[:80]}' on record{within}{_nearest(value, known)}")


def _nearest(value: str, known: Sequence[str]) -> str:
    near = difflib.get_close_matches(value, known, n=1)
    if near:
        return f"; did you mean '{near[0]}'?"
    return f"; there are {', '.join(known)}" if 0 < len(known) <= 12 else ""
