"""Name what can be done one way or the other in a job, and say of each job whether it was."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Mark:
    """Hold one practice: its name, what is compared, and SQL giving job_id and did (NULL where it makes no sense)."""

    name: str
    about: str
    sql: str


_ACTIONS = """select job_id, bool_or(action in ('reused', 'adjusted', 'left_worn')) as did
  from known_component_finding where component = '{component}' and action is not null group by job_id"""

MARKS: tuple[Mark, ...] = (
    Mark(
        "slider reused with new rings",
        "new rings on the old slider, against a new slider too",
        """select r.job_id, bool_or(s.action in ('reused', 'adjusted', 'left_worn')) as did
  from known_component_finding as r
  join known_position as p on p.family = r.family and p.position = r.position
  join known_component_finding as s on s.job_id = r.job_id and s.position = p.mate and s.component = 'slider'
  where r.component = 'synchroniser_ring' and r.action in ('replaced_failed', 'replaced_routine', 'replaced_mate')
    and s.action is not null group by r.job_id""",
    ),
    Mark(
        "a bearing reused",
        "some bearing looked at and reused, against all replaced",
        _ACTIONS.format(component="bearing"),
    ),
    Mark("a seal reused", "some seal reused, against all replaced", _ACTIONS.format(component="seal")),
    Mark(
        "crown wheel and pinion reused",
        "reused, against replaced",
        _ACTIONS.format(component="crown_wheel_pinion"),
    ),
    Mark(
        "something left worn",
        "left worn at the customer's wish, against nothing left",
        "select job_id, bool_or(action = 'left_worn') as did from known_component_finding "
        "where action is not null group by job_id",
    ),
    Mark(
        "fitted by somebody else",
        "refitted by a fleet, an owner or another workshop, against by us",
        "select job_id, refitted_by <> 'us' as did from known_job where refitted_by is not null",
    ),
    Mark(
        "a part not new",
        "a used, reconditioned or customer's own part fitted, against new ones only",
        "select job_id, bool_or(origin in ('reconditioned', 'used_donor', 'customer_supplied')) as did "
        "from known_part_line where fitted and origin is not null group by job_id",
    ),
    Mark(
        "no test drive or spin",
        "handed over without a test on record, against with one",
        "select j.job_id, not exists (select 1 from known_road_test as t where t.job = j.job "
        "and not coalesce(t.before_work, false)) as did "
        "from known_job as j where exists (select 1 from known_road_test)",
    ),
    Mark(
        "came loose",
        "the unit came by itself, against in the vehicle",
        "select job_id, arrival = 'loose' as did from known_job where arrival is not null",
    ),
    Mark(
        "two trials or more to set it",
        "against one",
        "select job_id, max(trial) >= 2 as did from known_shim "
        "where stage = 'trial' and trial is not null group by job_id",
    ),
)
