"""Read what is known of the comebacks themselves: which job, what it turned out to be, who paid."""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from analytics.history import History

LINK = """link as (  -- one row per comeback known on the day: given, or inferred where none is given for that job
  select * from known_comeback_link where given or given_from is null or given_from > $as_of
)"""

_FIRST = f"""
with {LINK},
first as (  -- one row per job that came back: its first comeback
  select original_job as job, arg_min(struct_pack(reported, comeback_job, given, position, damage_mode, outcome, payer),
    struct_pack(reported, not_given := not given, comeback_job := coalesce(comeback_job, ''))) as k
  from link group by original_job
)
select j.job_id, f.k.reported as reported, f.k.given as given, f.k.position as position, p.component,
  f.k.damage_mode as damage_mode, f.k.outcome as outcome, f.k.payer as payer,
  case when f.k.position is null then null else coalesce(list_contains(
      list_transform(string_split(j.declined, ';'), lambda x: lower(trim(x))), lower(f.k.position)), false)
    or coalesce(n.action = 'left_worn', false) end as declined
from first as f
join known_job as j using (job)
left join known_position as p on p.family = j.family and p.position = f.k.position
left join known_finding as n on n.job = f.job and n.position = f.k.position
order by j.job_id
"""

_CHAIN = f"""
with {LINK}
select original_job, comeback_job, reported, given, outcome, cost_cents from link
order by original_job, reported, comeback_job
"""

CHAINS_SCHEMA = {
    "job": pl.String, "came_back": pl.Int64, "jobs": pl.String, "first_reported": pl.Date, "last_reported": pl.Date,
    "outcomes": pl.String, "cost": pl.Float64,
}  # fmt: skip


def first_comebacks(history: History) -> pl.DataFrame:
    """Return one row per job that came back: job_id, and of its first comeback what is known by now.

    Columns: job_id, reported, given, position, component, damage_mode, outcome, payer, declined (whether the fault is
    in what the customer had declined or had left worn; NULL where the position is not known).
    """
    return history.query(_FIRST)


def chains(history: History, jobs: Sequence[str] | None = None) -> pl.DataFrame:
    """Return every chain of two comebacks or more, by the job it began with, the longest first.

    A comeback of the job that a comeback became belongs to the chain of the first job. `jobs`: only chains that begin
    with one of these. Columns: job, came_back (times), jobs (the numbers, in order), first_reported, last_reported,
    outcomes (in order), cost (to the workshop, money).
    """
    rows = history.query(_CHAIN).rows(named=True)
    comes_from = {row["comeback_job"]: row["original_job"] for row in rows if row["comeback_job"]}
    by_root: dict[str, list[dict[str, object]]] = {}
    for row in rows:
        by_root.setdefault(_root(row["original_job"], comes_from), []).append(row)
    wanted = None if jobs is None else set(jobs)
    told = []
    for root, links in by_root.items():
        if len(links) < 2 or (wanted is not None and root not in wanted):
            continue
        links.sort(key=lambda link: (str(link["reported"]), str(link["comeback_job"])))
        numbers = dict.fromkeys(str(link["comeback_job"]) for link in links if link["comeback_job"])
        costs = [int(str(link["cost_cents"])) for link in links if link["cost_cents"] is not None]
        outcomes = ", ".join(str(link["outcome"] or "not known").replace("_", " ") for link in links)
        days = [link["reported"] for link in links]
        told.append((root, len(links), ", ".join(numbers), days[0], days[-1], outcomes, sum(costs) / 100))
    frame = pl.DataFrame(told, schema=CHAINS_SCHEMA, orient="row")
    return frame.sort(["came_back", "last_reported", "job"], descending=[True, True, False])


def roots(links: pl.DataFrame) -> dict[str, str]:
    """Return for every original job the job that its chain of comebacks began with; links as in the records."""
    comes_from = {
        back: job for job, back in links.select("original_job", "comeback_job").iter_rows() if back is not None
    }
    return {job: _root(job, comes_from) for job in links["original_job"].unique().to_list()}


def _root(job: str, comes_from: dict[str, str]) -> str:
    seen = {job}
    while job in comes_from and comes_from[job] not in seen:
        job = comes_from[job]
        seen.add(job)
    return job
