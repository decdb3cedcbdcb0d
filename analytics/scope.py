"""Hold the scope of a question: which jobs, units and parts it is about."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, fields


@dataclass(frozen=True)
class Scope:
    """Hold the filters of a question; None means all.

    `since` and `until` bound the day on which a job was opened (for follow-up questions: delivered; for parts: used).
    """

    family: str | None = None
    component: str | None = None
    position: str | None = None
    supplier: str | None = None
    technician: str | None = None
    fleet: str | None = None
    duty: str | None = None
    kind: str | None = None
    since: dt.date | None = None
    until: dt.date | None = None

    def filters(self) -> dict[str, str]:
        """Return the filters that are set, as texts."""
        return {f.name: str(getattr(self, f.name)) for f in fields(self) if getattr(self, f.name) is not None}


PRIVATE_OWNERS = "private owners"  # the fleet filter's word for units that belong to no fleet
