"""Name what can be done one way or the other in a job, and say of each job whether it was."""

from __future__ import annotations

from dataclasses import dataclass

_KEPT = "action in ('reused', 'adjusted', 'left_worn')"
_ACTED = """known_finding as f join known_position as p using (position_id)
  where f.action is not null"""


@dataclass(frozen=True)
class Mark:
    """Hold one practice: its name, what is compared, and how it is told.

    rows: SQL giving job_id and did (NULL where it makes no sense); or, for what was done to components: among (a condition
    on findings and their positions) the findings that count, done: which of them make the mark.
    """

    name: str
    about: str
    rows: str = ""
    among: str = ""
    done: str = ""

    @property
    def sql(self) -> str:
        """Return SQL giving job_id and did."""
        if self.rows:
            return self.rows
        return f"select f.job_id, bool_or({self.done}) as did from {_ACTED} and {self.among} group by f.job_id"


def every_mark(marks: tuple[Mark, ...]) -> str:
    """Return SQL giving one row per job: the marks that make sense for it (asked) and those it has (had), as bits.

    A mark's bit is its place in `marks`. Findings, which are most, are read once for all marks that rest on them.
    """
    acted = {n: mark for n, mark in enumerate(marks) if not mark.rows}
    apart = [
        f"select job_id, {1 << n}::bigint as asked, if(did, {1 << n}, 0)::bigint as had from ({m.rows}) where did is not null"
        for n, m in enumerate(marks) if m.rows
    ]  # fmt: skip
    bits = " | ".join(f"if({m.among}, {1 << n}, 0)" for n, m in acted.items())
    had = " | ".join(
        f"coalesce(bit_or(p.bits & {sum(1 << n for n, m in acted.items() if m.done == done)}) filter ({done}), 0)"
        for done in dict.fromkeys(m.done for m in acted.values())
    )
    return f"""with place as (  -- one row per position: the marks that a finding there may make, as bits
        select p.position_id, ({bits})::bigint as bits from known_position as p
      ),
      acted as (
        select f.job_id, bit_or(p.bits) as asked, {had} as had
        from known_finding as f join place as p using (position_id) where f.action is not null group by f.job_id
      )
      select job_id, bit_or(asked) as asked, bit_or(had) as had
      from ({" union all ".join([*apart, "select * from acted where asked <> 0"])}) group by job_id"""


MARKS: tuple[Mark, ...] = (
    Mark(
        "slider reused with new rings",
        "new rings on the old slider, against a new slider too",
        """select r.job_id, bool_or(s.action in ('reused', 'adjusted', 'left_worn')) as did
  from known_finding as r
  join (  -- one row per ring and the slider it runs with
    select p.position_id as ring, m.position_id as slider from known_position as p
    join known_position as m on m.family = p.family and m.position = p.mate
    where p.component = 'synchroniser_ring' and m.component = 'slider'
  ) as pair on pair.ring = r.position_id
  join known_finding as s on s.job_id = r.job_id and s.position_id = pair.slider
  where r.action in ('replaced_failed', 'replaced_routine', 'replaced_mate')
    and s.action is not null group by r.job_id""",
    ),
    Mark(
        "a bearing reused",
        "some bearing looked at and reused, against all replaced",
        among="p.component = 'bearing'",
        done=_KEPT,
    ),
    Mark("a seal reused", "some seal reused, against all replaced", among="p.component = 'seal'", done=_KEPT),
    Mark(
        "crown wheel and pinion reused",
        "reused, against replaced",
        among="p.component = 'crown_wheel_pinion'",
        done=_KEPT,
    ),
    Mark(
        "something left worn",
        "left worn at the customer's wish, against nothing left",
        among="true",
        done="action = 'left_worn'",
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
