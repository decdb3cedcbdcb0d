"""Build what was observed of each delivered job: how long it was followed, and whether it came back.

The SQL is given out as named CTEs too, so that questions that count parts or findings of delivered jobs observe them by
the same rule.
"""

from __future__ import annotations

from typing import Any

import polars as pl

from analytics.history import History
from analytics.scope import Scope
from analytics.scope_sql import conditions

WINDOW_DAYS = 731  # a comeback counts within this window, whatever warranty was sold
DAYS_PER_MONTH = 30.4375
ASSUMED_WARRANTY_MONTHS = 12  # where none was written down; the ledger says how many rest on it
COLUMNS = (
    "odometer_m", "reported", "reported_ours", "reported_m", "first_given", "first_outcome", "metres_a_day",
    "warranty_assumed", "ended", "ended_how", "end_observed", "end_all", "end_sighted", "end_seen",
)  # fmt: skip
NAMES = ("job", "unit", "family", "kind", "technician", "fleet", "duty", "opened", "refitted_by")

_FILTERS = {
    "family": "family", "technician": "technician", "fleet": "fleet", "duty": "duty", "kind": "kind",
    "supplier": "exists (select 1 from known_part_use as p where p.job = d.job and p.supplier = $supplier)",
    "component": "exists (select 1 from known_part_use as p where p.job = d.job and p.component = $component)",
    "position": "exists (select 1 from known_part_use as p where p.job = d.job and p.position = $position)",
}  # fmt: skip

_PLACED = (
    "coalesce(j.fleet, t.fleet) as fleet, coalesce(j.duty, t.duty) as duty",
    "asof left join placement as t on t.unit_id = j.unit_id and t.fitted_from <= j.opened",
)
_NOT_PLACED = ("null::varchar as fleet, null::varchar as duty", "")

_CTES = """
link as (  -- one row per comeback known on the day: given, or inferred where none is given for that job
  select * from known_comeback_link where given or given_from is null or given_from > $as_of
),
sighted as (  -- one row per sighting, by the number of its unit
  select u.unit_id, s.seen, s.odometer_m, s.state, s.source from known_sighting as s join known_unit as u using (unit)
),
placement as (  -- one row per fitting, by the number of its unit
  select u.unit_id, t.fitted_from, t.fleet, t.duty from known_fitting as t join known_unit as u using (unit)
),
reading as (  -- one row per odometer read
  select unit_id, seen as day, odometer_m from sighted where odometer_m is not null
  union all
  select unit_id, opened, odometer_m from known_job where odometer_m is not null
),
placed as (
  select r.*, t.fitted_from from reading as r
  asof left join placement as t on t.unit_id = r.unit_id and t.fitted_from <= r.day
),
span as (  -- one row per unit and fitting
  select unit_id, fitted_from, max(odometer_m) - min(odometer_m) as metres, max(day) - min(day) as days
  from placed group by all
),
pace as (  -- one row per unit: metres a day while it was watched long enough to tell
  select unit_id, sum(metres)::double / sum(days) as metres_a_day, sum(days) as days
  from span where metres > 0 and days > 0 group by unit_id having sum(days) >= 60
),
delivered as (  -- one row per job handed over, an inspection aside
  select j.job, j.job_id, j.unit, j.unit_id, u.family, j.kind, j.technician, {fleet_duty}, j.opened,
    j.delivered, j.odometer_m, j.warranty_months, j.warranty_distance_m,
    u.register_entry, j.refitted_by
  from known_job as j
  join known_unit as u using (unit_id)
  {placement}
  where j.delivered is not null and j.kind <> 'inspection'
),
linked as (  -- one row per comeback of a job handed over
  select j.job_id, k.* from link as k join known_job as j on j.job = k.original_job where k.reported >= j.delivered
),
comeback as (  -- one row per job: its first comeback of all, and its first by our own work
  select job_id, min(reported) as reported, min(reported) filter (outcome = 'our_work') as reported_ours,
    arg_min_null(odometer_m, reported) as reported_m, arg_min(given, reported) as first_given,
    arg_min_null(outcome, reported) as first_outcome, arg_min_null(position, reported) as first_position,
    arg_min_null(damage_mode, reported) as first_mode, arg_min_null(known_on, reported) as first_known,
    arg_min_null(payer, reported) as first_payer, arg_min_null(comeback_job, reported) as first_job
  from linked group by job_id
),
next_rebuild as (  -- one row per job: the next full rebuild of its unit that is no comeback from it
  select d.job_id, min(n.opened) as opened
  from known_job as d
  join known_job as n on n.unit_id = d.unit_id and n.opened > d.delivered and n.job_id <> d.job_id
  anti join linked as k on k.job_id = d.job_id and k.comeback_job = n.job
  where n.kind = 'full_rebuild' group by d.job_id
),
last_end as (  -- one row per job: its unit's retirement, or opening by others, after it
  select d.job_id, min(e.seen) as seen, arg_min(e.state, e.seen) as state
  from delivered as d join sighted as e on e.unit_id = d.unit_id and e.seen >= d.delivered
  where e.state in ('retired', 'opened_elsewhere') group by d.job_id
),
last_seen as (  -- one row per job: its unit's last sighting that does not owe itself to a comeback
  select d.job_id, max(i.seen) as seen
  from delivered as d join sighted as i on i.unit_id = d.unit_id and i.seen >= d.delivered
  where i.source in ('register', 'routine') and coalesce(i.state, 'running') = 'running' group by d.job_id
),
told as (
  select d.*, c.* exclude (job_id), r.opened as next_rebuild,
    e.seen as ended, e.state as ended_how, s.seen as last_independent, p.metres_a_day, p.days as paced_days
  from delivered as d
  left join comeback as c using (job_id)
  left join next_rebuild as r using (job_id)
  left join last_end as e using (job_id)
  left join last_seen as s using (job_id)
  left join pace as p using (unit_id)
),
typical as (  -- one row: pace of a unit in the middle
  select median(metres_a_day) as metres_a_day from pace
),
bounded as (
  select d.*, d.warranty_months is null as warranty_assumed,
    least($as_of, coalesce(d.ended, $as_of), coalesce(d.next_rebuild, $as_of)) as possible_end,
    least(
      (d.delivered + to_months(coalesce(d.warranty_months, {assumed})::integer))::date,
      coalesce(d.delivered + least(d.warranty_distance_m / coalesce(d.metres_a_day, y.metres_a_day), 36500)::integer,
               date '2200-01-01')
    ) as warranty_end,
    coalesce(d.register_entry <= (d.delivered + to_months(coalesce(d.warranty_months, {assumed})::integer))::date,
             false) as registered,
    d.delivered + {window} as window_end
  from told as d cross join typical as y
  where {where}
),
observed as (  -- one row per delivered job in scope, with the end of its observation under each rule
  select *,
    least(window_end, possible_end, if(registered, possible_end, greatest(warranty_end, last_independent)))
      as end_observed,
    least(window_end, possible_end) as end_all,
    if(registered or last_independent is not null,
      least(window_end, possible_end, if(registered, possible_end, last_independent)), null) as end_sighted,
    least(window_end, possible_end, if(registered, possible_end, greatest(delivered, last_independent, reported)))
      as end_seen
  from bounded
)
"""


def comeback_observations(
    history: History,
    scope: Scope | None = None,
    names: tuple[str, ...] = NAMES,
    columns: tuple[str, ...] = COLUMNS,
    ordered: bool = True,
) -> pl.DataFrame:
    """Return one row per delivered job with what was observed of it, sorted by unit, then job (or in no order).

    Columns: `job_id`, `unit_id`, those of the job's own that `names` asks for (texts cost time), `delivered`, and of
    `COLUMNS` (and of the first comeback as `observed_ctes` has it) those that `columns` asks for: `ended`
    and `ended_how` (retired or opened_elsewhere), `reported` (first comeback), `reported_ours`, and for each rule the
    end of observation as a date: `end_observed` (the rule of the house: as_of, retirement, another workshop or an
    unrelated full rebuild, whichever comes first, for a unit without follow-up not beyond its warranty), `end_all` (as
    if all were followed), `end_sighted` (independent sightings only), `end_seen` (as if a unit without follow-up were
    gone once nothing is heard of it, its comeback included). Days on which nothing is observed are NULL.
    """
    ctes, values = observed_ctes(scope or history.scope, placed="fleet" in names or "duty" in names)
    listed = "".join(f", {name}" for name in (*names, *columns))
    order = " order by unit_id, job_id" if ordered else ""
    return history.query(f"with {ctes} select job_id, unit_id, delivered{listed} from observed{order}", values)


def observed_ctes(scope: Scope, placed: bool = True) -> tuple[str, dict[str, Any]]:
    """Return SQL (CTEs without the leading `with`) that ends in `observed`, and its parameters.

    placed: whether fleet and duty are wanted, which are looked up by day among the unit's fittings where the job does
    not name them; else they are NULL, which costs a fifth less. A scope that asks for them has them always.

    `observed` has every column of `comeback_observations`, and of the first comeback first_position, first_mode,
    first_known (the day on which it became known), first_payer and first_job; and warranty_end, by months or distance.
    """
    where, values = conditions(scope, _FILTERS, "d.delivered")
    fleet_duty, placement = _PLACED if placed or scope.fleet is not None or scope.duty is not None else _NOT_PLACED
    told = _CTES.format(
        where=_exists_filters(where), assumed=ASSUMED_WARRANTY_MONTHS, window=WINDOW_DAYS, fleet_duty=fleet_duty,
        placement=placement,
    )  # fmt: skip
    return told, values


def _exists_filters(where: str) -> str:
    """Turn `exists (...) = $name` into `exists (...)`: membership filters carry their parameter inside."""
    for name in ("supplier", "component", "position"):
        where = where.replace(f"{_FILTERS[name]} = ${name}", _FILTERS[name])
    return where


def durations(frame: pl.DataFrame, rule: str, reported: str = "reported") -> tuple[pl.DataFrame, dict[str, Any]]:
    """Return days observed and whether a comeback ended them, for the jobs that the rule observes at all.

    `rule` is end_observed, end_all, end_sighted or end_seen. Adds the columns `days` and `came_back`; the counts are of jobs
    observed and not observed.
    """
    seen = frame.filter(pl.col(rule) >= pl.col("delivered"))
    event = (pl.col(reported) <= pl.col(rule)).fill_null(value=False)
    end = pl.when(event).then(pl.col(reported)).otherwise(pl.col(rule))
    told = seen.with_columns(event.alias("came_back"), (end - pl.col("delivered")).dt.total_days().alias("days"))
    return told, {"observed": told.height, "not_observed": frame.height - told.height}
