"""Tell what was observed of each delivered job: how long it was followed, and whether it came back.

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
    "odometer_m", "reported", "reported_ours", "reported_given", "reported_m", "first_given", "first_outcome", "metres_a_day",
    "warranty_assumed", "ended", "ended_how", "end_observed", "end_all", "end_sighted", "end_seen",
)  # fmt: skip
NAMES = ("job", "unit", "family", "kind", "technician", "fleet", "duty", "opened", "refitted_by")

_FILTERS = {
    "family": "family", "technician": "technician", "fleet": "fleet", "duty": "duty", "kind": "kind",
    "supplier": "exists (select 1 from known_part_use as p where p.job = d.job and p.supplier = $supplier)",
    "component": "exists (select 1 from known_part_use as p where p.job = d.job and p.component = $component)",
    "position": "exists (select 1 from known_part_use as p where p.job = d.job and p.position = $position)",
}  # fmt: skip

_CTES = """
bounded as (
  select d.*, d.warranty_months is null as warranty_assumed,
    least($as_of, coalesce(d.ended, $as_of), coalesce(d.next_rebuild, $as_of)) as possible_end,
    least(
      (d.delivered + to_months(coalesce(d.warranty_months, {assumed})::integer))::date,
      coalesce(d.delivered + least(d.warranty_distance_m / coalesce(d.metres_a_day, d.typical_metres_a_day), 36500)::integer,
               date '2200-01-01')
    ) as warranty_end,
    coalesce(d.register_entry <= (d.delivered + to_months(coalesce(d.warranty_months, {assumed})::integer))::date,
             false) as registered,
    d.delivered + {window} as window_end
  from known_delivered_job as d
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
    and `ended_how` (retired or opened_elsewhere), `reported` (first comeback), `reported_ours`, `reported_given`
    (first that the records give), and for each rule the end of observation as a date: `end_observed` (the rule of the
    house: as_of, retirement, another workshop or an unrelated full rebuild, whichever comes first, for a unit without
    follow-up not beyond its warranty), `end_all` (as if all were followed), `end_sighted` (independent sightings only),
    `end_seen` (as if a unit without follow-up were gone once nothing is heard of it, its comeback included). Days on which
    nothing is observed are NULL.
    """
    ctes, values = observed_ctes(scope or history.scope)
    listed = "".join(f", {name}" for name in (*names, *columns))
    order = " order by unit_id, job_id" if ordered else ""
    return history.query(f"with {ctes} select job_id, unit_id, delivered{listed} from observed{order}", values)


def observed_ctes(scope: Scope) -> tuple[str, dict[str, Any]]:
    """Return SQL (CTEs without the leading `with`) that ends in `observed`, and its parameters.

    `observed` has every column of `comeback_observations`, and of the first comeback first_position, first_mode,
    first_known (the day on which it became known), first_payer and first_job; and warranty_end, by months or distance.
    """
    where, values = conditions(scope, _FILTERS, "d.delivered")
    told = _CTES.format(where=_exists_filters(where), assumed=ASSUMED_WARRANTY_MONTHS, window=WINDOW_DAYS)
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
