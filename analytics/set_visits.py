"""Read what a visit changed that setting depends on: gear set, casing, earlier work."""

from __future__ import annotations

import datetime as dt
from typing import Any

import polars as pl

from analytics.history import History
from analytics.scope_sql import conditions

FILTERS = {
    "family": "family", "technician": "technician", "fleet": "fleet", "duty": "duty", "kind": "kind",
}  # fmt: skip

_VISITS = """
with set_of as (  -- one row per gear set: its marking as it enters the target
  select *, if(coalesce(sign_rule, 'added') = 'added', marked_depth_um, -marked_depth_um) as marking from known_gear_set
),
visit as (
  select j.job, j.unit, j.family, j.kind, j.opened, coalesce(j.torn_down, j.opened) as torn_down,
    coalesce(j.closed, j.delivered) as closed, j.technician, j.fleet, j.duty,
    coalesce(j.earlier_work, 'not known') as earlier_work, coalesce(j.case_replaced, false) as case_replaced,
    case when j.gear_set_found is null or j.gear_set_built is null then 'not known'
      when j.gear_set_found = j.gear_set_built then 'kept' else 'changed' end as gear_set,
    f.marking as marking_found, b.marking as marking_built, b.marked_backlash_um as marked_backlash, b.tooth_form,
    b.pitch_angle_mdeg / 1000.0 as pitch_angle, b.pressure_angle_mdeg / 1000.0 as pressure_angle,
    b.spiral_angle_mdeg / 1000.0 as spiral_angle
  from known_job as j
  left join set_of as f on f.set_number = j.gear_set_found
  left join set_of as b on b.set_number = j.gear_set_built
)
select * from visit where {where} order by job
"""


def set_visits(history: History, family: str | None = None, after: dt.date | None = None) -> pl.DataFrame:
    """Return one row per job in scope with what setting depends on.

    Columns: job, unit, family, kind, opened, torn_down, closed, technician, fleet, duty, earlier_work (none, ours,
    others, not known), case_replaced, gear_set (kept, changed, not known), marking_found and marking_built (um, as
    they enter the target), marked_backlash (um), tooth_form, pitch_angle, pressure_angle, spiral_angle (degrees).
    """
    where, values = conditions(history.scope, FILTERS, "opened")
    more: dict[str, Any] = {}
    if family is not None:
        where, more = f"{where} and family = $of_family", {"of_family": family}
    if after is not None:
        where, more = f"{where} and opened > $after", {**more, "after": after}
    return history.query(_VISITS.format(where=where), {**values, **more})
