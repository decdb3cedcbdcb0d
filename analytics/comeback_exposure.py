"""Lay out delivered jobs, or pieces fitted in them, as weeks observed and comebacks, by what drives comebacks."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import polars as pl

from analytics.comeback_observations import observed_ctes
from analytics.estimators.arrays import FloatArray, IntArray
from analytics.estimators.penalised_logistic import ridge_logistic
from analytics.history import History
from analytics.job_marks import MARKS, every_mark

AGE_DAYS = (0, 30, 91, 183, 365, 732)  # since delivery; trouble is likelier early
JOB_STRATA, PIECE_STRATA = 5, 2  # bands of like hazard; pieces are compared within a component
PENALTIES = (3.0, 30.0)
JOB_DRIVERS = ("age", "kind", "family", "failed", "distance", "duty")
PIECE_DRIVERS = ("age", "kind", "family", "component", "duty")
TOGETHER = "smaller ones"  # the name under which groups of few pieces are counted together
OURS, COMPONENT = "o.first_outcome = 'our_work'", "coalesce(o.first_outcome, 'part') in ('our_work', 'part')"

_BASE = """
found as (  -- one row per job: how many component positions were found failed
  select job_id, count(*) filter (failed) as failed from known_finding where failed is not null group by job_id
),
driven as (
  select o.*, greatest(least(o.end_observed, o.reported) - o.delivered, 1) as days,
    o.reported <= o.end_observed as came_back, coalesce(o.duty, 'not known') as driven_duty,
    case when f.failed is null then 'not known' when f.failed = 0 then '0' when f.failed = 1 then '1'
      when f.failed <= 3 then '2-3' else '4+' end as failed,
    case when o.odometer_m is null then 'not known'
      else least(o.odometer_m // 100000000, 4)::varchar end as distance
  from observed as o left join found as f using (job_id) where o.end_observed >= o.delivered
),
like_work as (  -- one row per combination of what drives comebacks, numbered: its words are read once
  select kind, family, failed, distance, driven_duty, row_number() over () as work from driven group by all
),
job_seen as (select o.*, w.work from driven as o join like_work as w using (kind, family, failed, distance, driven_duty))
"""


@dataclass(frozen=True)
class Cells:
    """Hold cells of like hazard: `frame` with the group columns, stratum, weeks, events, and jobs or pieces."""

    frame: pl.DataFrame
    drivers: tuple[str, ...]


def job_cells(history: History, group: str, event: str = OURS) -> Cells:
    """Return cells of delivered jobs by `group` (SQL over the job); `event` says which first comebacks count."""
    return _cells(history, _JOBS.format(base=_ctes(history)[0], group=group, event=event), JOB_DRIVERS, JOB_STRATA)


def mark_cells(history: History) -> Cells:
    """Return cells by practice (`mark`) and whether a job did it (`did`); jobs for which it makes no sense are out."""
    names = ", ".join(f"'{m.name}'" for m in MARKS)
    sql = _MARKED.format(base=_ctes(history)[0], marks=every_mark(MARKS), names=names, event=OURS)
    return _cells(history, sql, JOB_DRIVERS, JOB_STRATA)


def piece_cells(history: History, column: str, least: int = 1) -> Cells:
    """Return cells of pieces fitted by component and `column` of the part line; a comeback at their place counts.

    least: groups of fewer pieces are put together as `TOGETHER`.
    """
    told = _LEAST.format(least=least) if least > 1 else _EVERY
    sql = _PIECES.format(base=_ctes(history)[0], column=column, event=COMPONENT, told=told)
    return _cells(history, sql, PIECE_DRIVERS, PIECE_STRATA)


_SPANS = list(enumerate(pairwise(AGE_DAYS)))
# A column for each stretch of age, so that a job is read once; `_BY_AGE` makes rows of them.
_SUMS = ", ".join(
    f"sum(least(o.days, {high}) - {low}) filter (o.days > {low})::double as days_{age}, "
    f"count(*) filter ({{event}} and o.came_back and o.days > {low} and o.days <= {high}) as events_{age}"
    for age, (low, high) in _SPANS
)
_BY_AGE = f"""select {{keys}}, a.age, w.kind, w.family, w.failed, w.distance, w.driven_duty as duty,
  [{", ".join(f"s.days_{age}" for age, _ in _SPANS)}][a.age + 1] as days,
  [{", ".join(f"s.events_{age}" for age, _ in _SPANS)}][a.age + 1] as events, if(a.age = 0, s.jobs, 0) as jobs
from {{summed}} as s join like_work as w using (work), (select unnest(range({len(_SPANS)})) as age) as a
where [{", ".join(f"s.days_{age}" for age, _ in _SPANS)}][a.age + 1] is not null
order by all
"""
_JOBS = f"""
with {{base}}, summed as (
  select {{group}} as "group", o.work, count(*) as jobs, {_SUMS} from job_seen as o group by all
)
{_BY_AGE.format(keys='s."group"', summed="summed")}
"""
_MARKED = f"""
with {{base}}, mark as (select unnest(range({len(MARKS)})) as number, unnest([{{names}}]) as mark),
marked as ({{marks}}),
alike as (
  select m.asked, m.had, o.work, count(*) as jobs, {_SUMS} from job_seen as o join marked as m using (job_id) group by all
),
summed as (
  select k.mark, a.had & (1::bigint << k.number) <> 0 as did, a.work, sum(a.jobs) as jobs,
    {", ".join(f"sum(a.days_{age}) as days_{age}, sum(a.events_{age}) as events_{age}" for age, _ in _SPANS)}
  from alike as a join mark as k on a.asked & (1::bigint << k.number) <> 0 group by all
)
{_BY_AGE.format(keys="s.mark, s.did", summed="summed")}
"""
_PIECES = f"""
with {{base}}, piece as (
  select p.job_id, c.component, c.position, {{column}} as "group", p.part
  from known_part_line as p join known_position as c using (position_id)
  where p.fitted and coalesce(p.origin, 'new') <> 'own_refitted'
),
grouped as ({{told}}),
summed as (
  select q."group", q.component, o.work, count(*) as jobs,
    {_SUMS.replace("{event}", "{event} and o.first_position = q.position")}
  from job_seen as o join grouped as q using (job_id) group by all
)
{_BY_AGE.format(keys='s."group", s.component', summed="summed")}
"""
_EVERY = """select * from piece where "group" is not null"""
_LEAST = f"""select q.job_id, q.component, q.position, coalesce(e."group", '{TOGETHER}') as "group"
  from piece as q left join (select "group" from piece group by all having count(*) >= {{least}}) as e
    on e."group" = q."group"
  where q."group" is not null"""


def _ctes(history: History) -> tuple[str, dict[str, object]]:
    ctes, values = observed_ctes(history.scope)
    return f"{ctes}, {_BASE}", values


def _cells(history: History, sql: str, drivers: tuple[str, ...], bands: int) -> Cells:
    frame = history.query(sql, _ctes(history)[1])
    frame = frame.with_columns((pl.col("days") / 7).ceil().alias("weeks"))
    return Cells(frame.with_columns(pl.Series("stratum", _strata(frame, drivers, bands), dtype=pl.Int64)), drivers)


def _strata(frame: pl.DataFrame, drivers: tuple[str, ...], bands: int) -> IntArray:
    """Return bands of like hazard a week, each with about as many expected comebacks, from all drivers together.

    Method: discrete-time logistic hazard with ridge penalty; the bands serve to compare like with like, their rates
    are estimated anew in each band from the other groups.
    """
    if frame.is_empty() or frame["events"].sum() < 2 * bands:
        return np.zeros(frame.height, np.int64)
    cells = frame.group_by(drivers).agg(pl.col("events").sum(), pl.col("weeks").sum()).sort(drivers)
    design = _design(cells, drivers)
    events, weeks = cells["events"].to_numpy().astype(float), cells["weeks"].to_numpy()
    hazard = ridge_logistic(design, events, weeks, penalties=PENALTIES).predict(design).estimate
    band = bands_of(hazard, weeks, bands)
    return frame.join(
        cells.select(*drivers, pl.Series("band", band)), on=drivers, how="left", maintain_order="left"
    )["band"].to_numpy()  # fmt: skip


def bands_of(hazard: FloatArray, weeks: FloatArray, bands: int) -> IntArray:
    """Return (cells) the band of each cell, in order of hazard, about as many expected comebacks in each.

    hazard: (cells) comebacks a week; weeks: (cells) observed. A cell lies in the band that holds its middle.
    """
    order = np.argsort(hazard, kind="stable")
    brought = (hazard * weeks)[order]
    grown = np.cumsum(brought)
    band = np.empty(len(hazard), np.int64)
    band[order] = np.minimum(((grown - brought / 2) / grown[-1] * bands).astype(np.int64), bands - 1)
    return band


def _design(cells: pl.DataFrame, drivers: tuple[str, ...]) -> FloatArray:
    columns = []
    for name in drivers:
        words = cells[name].cast(pl.String)
        columns += [(words == word).to_numpy().astype(float) for word in sorted(words.unique().to_list())[1:]]
    return np.stack(columns, axis=1) if columns else np.zeros((cells.height, 1))
