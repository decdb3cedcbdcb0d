"""Build the lives of components: between which ages each ended, from which age it was followed, and why we think so."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from analytics.history import History
from analytics.life_clock import KM, LifeClock
from analytics.register_lives import register_lives
from analytics.scope_sql import conditions

ON_THE_ROAD = "on the road"
CAME_IN = "among units that came in"
EXACT, INTERVAL, LEFT, RIGHT = "exact", "interval", "left", "right"
REASONS = {
    "usage_unknown": "distance at the visit not known",
    "clock_replaced": "clock had been replaced",
    "no_vehicle": "no vehicle on record, so the unit's own distance is not known",
    "clock_runs_backwards": "clock reads less than before",
    "origin_unknown": "neither known from new nor fitted here",
    "opened_by_others": "others opened the unit in between",
    "part_of_unknown_age": "used or customer's own part, its age not known",
    "distance_at_start_unknown": "distance when it was fitted not known",
    "failed_before": "had been found failed before and was left in",
    "not_graded": "neither grade nor role written down",
    "renewed_unseen": "renewed without being looked at",
    "no_distance": "had run no distance",
    "failed_before_entry": "failed before the register listed the unit",
    "not_followed": "sat in no vehicle of a register after it was fitted",
}
FILTERS = {
    "family": "c.family", "component": "c.component", "position": "c.position", "fleet": "v.fleet", "duty": "v.duty",
    "supplier": "p.supplier",
}  # fmt: skip

# What was known on the day of each life at a look: one row per life, at the last look whose age is known.
# The component that caused the complaint failed when the complaint began where the odometer of that day was written
# down, else between that day (or the last look that found it good) and the visit.
LIFE = """
looked as (  -- one row per life and last look
  select l.*, case
      when state in ('good', 'renewed') then 'right'
      when state = 'cause' and since_exact and since_age >= good_age and since_age > 0 then 'exact'
      when greatest(good_age, coalesce(since_age, 0)) > 0 then 'interval' else 'left' end as kind
  from known_life_inspection as l where why_not is null and superseded_on is null
),
life as (  -- one row per life, ages in metres; nothing known where both ends are nought and endless
  select *, case kind when 'right' then if(state = 'renewed', good_age, age) when 'exact' then since_age
      when 'interval' then if(since_age < age, greatest(good_age, since_age), good_age) else 0 end as lower_m,
    case kind when 'right' then null when 'exact' then since_age else age end as upper_m
  from looked
),
part as (  -- one row per job and position in which such a life began, with the part fitted there
  select p.job_id, p.position_id, min(p.supplier) as supplier, min(p.maker) as maker
  from known_part_line as p semi join looked as l on l.started_by = p.job_id and l.position_id = p.position_id
  where p.fitted and (p.supplier is not null or p.maker is not null)
  group by all
)
"""


def plural(component: str) -> str:
    """Return the component's name for more than one of it."""
    name = component.replace("_", " ")
    return name if name.endswith(("teeth", "gears")) else name + "s"


@dataclass(frozen=True)
class Lives:
    """Hold the lives of one population.

    rows: one per life: unit, unit_id, job_id (the look that tells; NULL where the register does), started_by (job that
    fitted it, NULL from new), origin, family, position, component, duty, fleet, supplier, maker, lower, upper (km, NULL
    while it has not failed), entry (km), kind (exact, interval, left, right), why (a sentence), draws (km, ends drawn
    where the distance run by now was imputed), end_error (their relative deviation), estimated (distance), named_failed
    (called the cause though graded within limits). excluded: reason, and looks or lives left out for it.
    """

    population: str
    rows: pl.DataFrame
    excluded: pl.DataFrame


def lives_that_came_in(history: History, parts: bool = False, clock: LifeClock = KM) -> Lives:
    """Return one row per component life that was looked at on the bench, ages in km (or hours); `parts` adds supplier and maker.

    Silence says nothing here: a part fitted and not seen again is no life yet. Nothing after the last look counts.
    """
    looked = _looked_at(history, parts, clock)
    silent = looked.filter(~_TELLING)
    unseen = silent.filter(pl.col("state") == "renewed").height
    where, values = conditions(history.scope, FILTERS)
    excluded = left_out_looks(
        history, {"renewed_unseen": unseen, "no_distance": silent.height - unseen}, where, values, clock
    )
    return Lives(CAME_IN, _told(looked), excluded)


def rows_that_came_in(history: History, parts: bool = False, clock: LifeClock = KM) -> pl.DataFrame:
    """Return the rows of lives_that_came_in, where nobody asks what was left out."""
    return _told(_looked_at(history, parts, clock))


_TELLING = (pl.col("upper").is_not_null() & (pl.col("upper") > 0)) | (pl.col("lower") > 0)


def _looked_at(history: History, parts: bool, clock: LifeClock) -> pl.DataFrame:
    with_part = parts or history.scope.supplier is not None
    where, values = conditions(history.scope, FILTERS)
    return history.query(
        f"""
        with {LIFE.replace(KM.mart, clock.mart)}
        select v.unit, l.unit_id, l.job_id, l.started_by, l.origin, c.family, c.position, c.component, v.duty, v.fleet,
          {"p.supplier, p.maker" if with_part else "null::varchar as supplier, null::varchar as maker"},
          l.lower_m / {clock.per_unit} as lower, l.upper_m / {clock.per_unit} as upper, 0.0::double as entry, l.kind, l.state,
          coalesce(l.estimated, false) as estimated, coalesce(l.named_failed, false) as named_failed, l.from_habit
        from life as l
        join known_visit as v using (job_id)
        join known_position as c using (position_id)
        {"left join part as p on p.job_id = l.started_by and p.position_id = l.position_id" if with_part else ""}
        where {where}
        order by l.unit_id, l.position_id, l.started_by, l.job_id
        """,
        values,
    )


def _told(looked: pl.DataFrame) -> pl.DataFrame:
    return (
        looked.filter(_TELLING)
        .with_columns(
            _why(),
            pl.lit(None, dtype=pl.List(pl.Float64)).alias("draws"),
            pl.lit(None, dtype=pl.Float64).alias("end_error"),
            pl.lit(CAME_IN).alias("population"),
        )
        .drop("state")
    )


def lives_on_the_road(history: History, parts: bool = False, clock: LifeClock = KM) -> Lives:
    """Return one row per component life of the units that a register lists, also of those that never came.

    A life runs to its failure, to its renewal while sound, or to where the register follows the unit; what entered the
    register late is followed from its distance then. `draws` hold the ends that had to be imputed.
    """
    rows, left_out = register_lives(history, parts or history.scope.supplier is not None, clock=clock)
    excluded = pl.DataFrame(
        {"reason": [REASONS[r] for r in left_out], "left_out": list(left_out.values())},
        schema={"reason": pl.String, "left_out": pl.Int64},
    ).filter(pl.col("left_out") > 0)
    return Lives(ON_THE_ROAD, rows.with_columns(_why_on_the_road(), pl.lit(ON_THE_ROAD).alias("population")), excluded)


def left_out_looks(
    history: History, more: Mapping[str, int], where: str, values: Mapping[str, Any], clock: LifeClock = KM
) -> pl.DataFrame:
    """Return why looks could not be used and how many, the most first."""
    if history.scope.supplier is not None:
        where, values = "true", {}  # what was left out is told for all suppliers: its part is what is not known
    joins = (
        "" if where == "true" else "join known_visit as v using (job_id) join known_position as c using (position_id)"
    )
    counted = history.query(
        f"""
        select why_not as reason, count(*)::bigint as left_out
        from {clock.mart} {joins}
        where why_not is not null and state is distinct from 'renewed' and {where} group by why_not
        """,
        values,
    )
    unmeasured = history.query(
        f"""
        with measured as (
          select unit_id from known_visit_clock where clock_at is not null and '{clock.name}' in ('km', clock)
          union all select unit_id from known_unit where register_entry is not null and '{clock.name}' = 'km'
        ),
        unread as (  -- one row per job of a unit whose clock was never read
          select job_id, coalesce(why_not, 'usage_unknown') as why_not from known_visit_clock as k
          anti join measured as m on m.unit_id = k.unit_id where clock = '{clock.name}' and clock_at is null
        )
        select if(n.failed is null and n.grade is null, 'not_graded', why_not) as reason, count(*)::bigint as left_out
        from known_finding as n join unread using (job_id) {joins} where {where} group by all
        """,
        values,
    )
    counted = pl.concat([counted, unmeasured]).group_by("reason").agg(pl.col("left_out").sum())
    told = {REASONS[reason]: number for reason, number in counted.iter_rows()}
    told |= {REASONS[reason]: number for reason, number in more.items() if number}
    return pl.DataFrame(
        {"reason": list(told), "left_out": list(told.values())}, schema={"reason": pl.String, "left_out": pl.Int64}
    ).sort(["left_out", "reason"], descending=[True, False])


def _why() -> pl.Expr:
    return (
        pl.when(pl.col("kind") == EXACT).then(pl.lit("caused the complaint; distance when it began is written down"))
        .when(pl.col("kind") == INTERVAL).then(pl.lit("failed between when it was last known good and the visit"))
        .when(pl.col("kind") == LEFT).then(pl.lit("found failed; never seen good before"))
        .when(pl.col("state") == "renewed").then(pl.lit("good when last looked at, renewed later without a look"))
        .otherwise(pl.lit("good when last looked at"))
        .alias("why")
    )  # fmt: skip


def _why_on_the_road() -> pl.Expr:
    return (
        pl.when(pl.col("kind") == EXACT).then(pl.lit("caused the complaint; distance when it began is written down"))
        .when(pl.col("kind") == INTERVAL).then(pl.lit("failed between when it was last known good and the visit"))
        .when(pl.col("kind") == LEFT).then(pl.lit("found failed; never seen good before"))
        .when(pl.col("job_id").is_not_null()).then(pl.lit("good when it was last looked at or renewed"))
        .otherwise(pl.lit("runs on by the register"))
        .alias("why")
    )  # fmt: skip
