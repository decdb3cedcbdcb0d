"""Say of each alarm what to do next: jobs still out, stock to set aside, what can be claimed, what the jobs share."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from scipy import special

from analytics.comeback_observations import ASSUMED_WARRANTY_MONTHS
from analytics.estimators.arrays import FloatArray
from analytics.estimators.exact_tests import exact_odds_ratio
from analytics.estimators.interval import TooFew
from analytics.history import History

MOST_SHARED = 2
Odds = tuple[float | None, float | None, float | None]  # estimate, lower, upper

_LOT_PIECES = """
with piece as (  -- one row per piece of the lot, fitted in a delivered job
  select p.job, p.job_id, c.position, p.part, p.lot, coalesce(p.supplier, '') as supplier, p.unit_cost_cents,
    p.quantity_milli, j.unit, j.delivered, j.fleet,
    (j.delivered + to_months(coalesce(j.warranty_months, {assumed})::integer))::date as warranty_end
  from known_part_line as p join known_position as c using (position_id) join known_job as j on j.job_id = p.job_id
  where p.fitted and p.part = $part and p.lot = $lot and coalesce(p.supplier, '') = $supplier
    and j.delivered is not null
),
link as (
  select * from known_comeback_link where given or given_from is null or given_from > $as_of
),
told as (
  select piece.*,
    exists (select 1 from link as k where k.original_job = piece.job and k.position = piece.position) as came_back,
    exists (select 1 from link as k where k.original_job = piece.job) as job_came_back,
    exists (select 1 from known_sighting as s where s.unit = piece.unit and s.seen >= piece.delivered
            and s.state in ('retired', 'opened_elsewhere')) as gone,
    exists (select 1 from known_part_line as q join known_job as l on l.job_id = q.job_id
            join known_position as c on c.position_id = q.position_id
            where l.unit = piece.unit and l.opened > piece.delivered and c.position = piece.position
              and q.fitted)
      as replaced
  from piece
)
"""
_LOT = (
    _LOT_PIECES
    + """
select count(*) as fitted, count(*) filter (came_back) as back,
  count(distinct job) filter (not gone and not replaced and not job_came_back) as still_out,
  count(distinct job) filter (not gone and not replaced and not job_came_back and warranty_end >= $as_of) as in_warranty,
  coalesce(sum(unit_cost_cents * quantity_milli / 1000.0) filter (came_back), 0) / 100 as parts_cost
from told
"""
)
_LOT_JOBS = (
    _LOT_PIECES
    + """
select job, unit, fleet, delivered, warranty_end, count(*) as pieces from told
where not gone and not replaced and not job_came_back group by all order by delivered desc, job
"""
)
_OTHERS = """
with link as (
  select distinct original_job, position from known_comeback_link
  where position is not null and (given or given_from is null or given_from > $as_of)
)
select count(*) as others, count(k.original_job) as others_back
from known_part_line as p join known_position as c using (position_id) join known_job as j on j.job_id = p.job_id
left join link as k on k.original_job = p.job and k.position = c.position
where p.fitted and p.part = $part and j.delivered is not null
  and not (coalesce(p.lot, '') = $lot and coalesce(p.supplier, '') = $supplier)
"""
_LOT_MONEY = """
with back as (
  select distinct k.original_job, k.comeback_job, k.cost_cents
  from known_comeback_link as k
  join known_part_line as p on p.job = k.original_job join known_position as c using (position_id)
  where p.fitted and p.part = $part and p.lot = $lot and coalesce(p.supplier, '') = $supplier
    and c.position = k.position
)
select coalesce(sum(b.cost_cents), 0) / 100 as cost, coalesce(sum(m.cents), 0) / 100 as credited
from back as b left join (
  select job, sum(amount_cents) as cents from known_money_line where money_kind = 'supplier_credit' group by job
) as m on m.job = b.comeback_job
"""
_SHELF = """
select on_hand_milli / 1000 as on_hand, counted_on, lot from known_stock where part = $part
qualify row_number() over (order by counted_on desc, lot nulls last) = 1
"""
_SHARED = """
with chosen as (select unnest($jobs) as job),
period as (select min(coalesce(j.delivered, j.opened)) as low, max(coalesce(j.delivered, j.opened)) as high
           from known_job as j join chosen using (job)),
control as (  -- the other jobs of the same time, of the same families
  select j.job, false as came_back from known_job as j, period
  where coalesce(j.delivered, j.opened) between low and high and j.kind <> 'inspection'
    and j.family in (select family from known_job join chosen using (job)) and j.job not in (select job from chosen)
),
every as (select job, true as came_back from chosen union all select * from control),
worked as (select e.job, e.came_back, j.technician, j.duty, j.fleet, j.refitted_by
  from every as e join known_job as j using (job)),
fitted as (select e.job, e.came_back, p.supplier || ' ' || p.lot as lot, p.maker
  from every as e join known_part_use as p using (job) where p.component = $component),
mark as (  -- one row per job, attribute and word
  select came_back, 'technician' as attribute, technician as word from worked
  union all select came_back, 'duty', duty from worked
  union all select came_back, 'fleet', fleet from worked
  union all select came_back, 'refitted by', refitted_by from worked
  union all select came_back, 'lot', lot from (select distinct job, came_back, lot from fitted)
  union all select came_back, 'maker', maker from (select distinct job, came_back, maker from fitted)
)
select attribute, word, count(*) filter (came_back) as here, count(*) filter (not came_back) as there,
  (select count(*) from every where came_back) as jobs, (select count(*) from every where not came_back) as others
from mark where word is not null group by all having here >= 2 order by attribute, word
"""


@dataclass(frozen=True)
class NextSteps:
    """Hold what to do about an alarm; None where the records cannot say."""

    odds_ratio: float | None = None
    odds_low: float | None = None
    odds_high: float | None = None
    fitted: int | None = None
    still_out: int | None = None
    in_warranty: int | None = None
    on_shelf: float | None = None
    shelf_note: str | None = None
    claim: float | None = None
    credited: float | None = None


def lot_steps(history: History, label: Mapping[str, Any]) -> NextSteps:
    """Return the next steps for a lot: jobs still out, pieces to set aside, what can be claimed from the supplier."""
    key = {name: label[name] for name in ("part", "lot", "supplier")}
    told = history.query(_LOT.format(assumed=ASSUMED_WARRANTY_MONTHS), key).row(0, named=True)
    others = history.query(_OTHERS, key).row(0, named=True)
    money = history.query(_LOT_MONEY, key).row(0, named=True)
    shelf = history.query(_SHELF, {"part": key["part"]})
    odds = _odds(told["back"], told["fitted"], others["others_back"], others["others"])
    on_shelf, note = None, None
    if shelf.height:
        row = shelf.row(0, named=True)
        this_lot = row["lot"] == key["lot"]
        on_shelf = float(row["on_hand"]) if this_lot or row["lot"] is None else 0.0
        note = f"counted {row['counted_on']}" + ("" if this_lot else ", lot not noted: look" if row["lot"] is None else
                                                 f", then of lot {row['lot']}")  # fmt: skip
    claim = max(float(told["parts_cost"]) + float(money["cost"]) - float(money["credited"]), 0.0)
    return NextSteps(
        *odds, fitted=int(told["fitted"]), still_out=int(told["still_out"]), in_warranty=int(told["in_warranty"]),
        on_shelf=on_shelf, shelf_note=note, claim=claim, credited=float(money["credited"]),
    )  # fmt: skip


def lot_jobs_out(history: History, label: Mapping[str, Any]) -> pl.DataFrame:
    """Return the jobs with pieces of the lot that are still out: job, unit, fleet, delivered, warranty_end, pieces."""
    key = {name: label[name] for name in ("part", "lot", "supplier")}
    return history.query(_LOT_JOBS.format(assumed=ASSUMED_WARRANTY_MONTHS), key)


def what_they_share(history: History, jobs: Sequence[str], component: str) -> str | None:
    """Return in words what the jobs of an alarm share more than other jobs of their time and families, or None.

    Compared by Fisher's exact test, as many looks as attributes and words allowed for (Bonferroni at 5 %).
    """
    marks = history.query(_SHARED, {"jobs": list(dict.fromkeys(jobs)), "component": component})
    marks = marks.filter(~pl.col("attribute").is_in(list(history.scope.filters())))  # all jobs asked for share those
    told = []
    for row in _may_be_shared(marks).iter_rows(named=True):
        table = [[row["here"], row["there"]], [row["jobs"] - row["here"], row["others"] - row["there"]]]
        found = exact_odds_ratio(np.array(table))
        if not isinstance(found, TooFew) and found.estimate > 1 and found.p_value * marks.height <= 0.05:
            words = f"{row['attribute']} {str(row['word']).replace('_', ' ')}"
            told.append(
                (found.p_value, f"{words}: {row['here']} of {row['jobs']}, others {row['there']} of {row['others']}")
            )
    return "; ".join(text for _, text in sorted(told)[:MOST_SHARED]) or None


def _may_be_shared(marks: pl.DataFrame) -> pl.DataFrame:
    """Return the marks that the exact test can still find more of here: its chance is no less than that of just so many."""
    here, there, jobs, others = (marks[name].to_numpy().astype(float) for name in ("here", "there", "jobs", "others"))
    told = here + there
    chance = np.exp(_log_ways(jobs, here) + _log_ways(others, there) - _log_ways(jobs + others, told))
    more = (others > 0) & (here * others > there * jobs)
    return marks.filter(pl.Series(more & (chance * marks.height <= 0.05), dtype=pl.Boolean))


def _log_ways(of: FloatArray, some: FloatArray) -> FloatArray:
    """Return the logarithm of the number of ways to take `some` of `of`."""
    ways = special.gammaln(of + 1) - special.gammaln(some + 1) - special.gammaln(of - some + 1)
    return np.asarray(ways, dtype=np.float64)


def period_odds(seen: int, cases: float, seen_before: int, cases_before: float) -> Odds:
    """Return the odds ratio of the time of an alarm against the time before, with exact limits."""
    return _odds(seen, round(cases), seen_before, round(cases_before))


def _odds(x: int, n: int, y: int, m: int) -> Odds:
    if n < x or m < y or not n or not m:
        return None, None, None
    found = exact_odds_ratio(np.array([[x, n - x], [y, m - y]]))
    if isinstance(found, TooFew):
        return None, None, None
    low, middle, high = (value if np.isfinite(value) else None for value in (found.lower, found.estimate, found.upper))
    return middle, low, high
