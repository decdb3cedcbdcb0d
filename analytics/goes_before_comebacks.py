"""Answer: which practices and findings go before comebacks, and which components are found bad together?"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import polars as pl

from analytics.answer import Answer, Assumption, Column
from analytics.comeback_exposure import COMPONENT
from analytics.comeback_observations import observed_ctes
from analytics.component_kinds import KINDS
from analytics.estimators.exact_tests import OddsRatio, exact_odds_ratio, mantel_haenszel
from analytics.estimators.interval import TooFew
from analytics.estimators.multiple_testing import benjamini_hochberg
from analytics.history import History
from analytics.job_list import jobs_behind
from analytics.job_marks import MARKS, every_mark
from analytics.question import Option, Question
from analytics.scope_sql import conditions
from analytics.wording import count_of

FOLLOWED_DAYS = 365
MINIMUM_JOBS = 10  # with the mark, and without it
EXACT_BELOW = 200  # bad ones; above, weighting gives the same to all digits shown
LOOKED_FOR = 0.05
OF = ("comebacks", "found-together")
METHOD = (
    "Comebacks within 12 months by our own work, for a part, or of unknown outcome, among delivered jobs that the rule "
    "of the house follows for 12 months whatever happens. Odds ratio common to strata (kind of job and of unit; found "
    "together: family and distance run), exact conditional limits and chance (Mantel-Haenszel where many), all marks "
    "of this table one family of looks (Benjamini-Hochberg at 5 %)."
)
_FILTERS = {
    "family": "family", "technician": "technician", "fleet": "fleet", "duty": "duty", "kind": "job_kind",
    "component": "component", "position": "position",
}  # fmt: skip


def goes_before_comebacks(history: History, options: Mapping[str, str]) -> Answer:
    """Return marks of jobs and how much more often jobs with them come back, the surest first.

    Rows: kind (practice, finding, found together), mark, odds_ratio, low, high, back_with, jobs_with, back_without,
    jobs_without, chance (adjusted p), stands_out, said. For `found-together`, "back" reads: the other found failed too.
    """
    of = options["of"]
    tables = _together(history) if of == "found-together" else _before(history)
    rows = _tested(tables)
    sentence, number, about = _sentence(rows, of)
    return Answer(
        question="goes-before-comebacks",
        as_of=history.as_of,
        warehouse_version=history.warehouse.version,
        filters=history.scope.filters(),
        sentence=sentence,
        number=number,
        number_about=about,
        method=METHOD,
        grain="one row per practice or finding" if of == "comebacks" else "one row per pair of components",
        rows=rows,
        columns=columns_of(of),
        notes=(
            f"The family of looks: {count_of(rows.filter(pl.col('chance').is_not_null()).height, 'mark')} of this "
            "table. Associations, not causes: what is picked will read nearer 1 next time.",
        ),
        assumptions=_ledger(history, of),
    )


def _followed(history: History) -> tuple[str, dict[str, object]]:
    """Return CTEs that end in `followed`: jobs followed for 12 months, and whether they came back for what we did."""
    ctes, values = observed_ctes(history.scope)
    event = COMPONENT.replace("o.", "")
    return (
        f"""{ctes}, followed as (  -- one row per delivered job followed for 12 months whatever happens
          select o.job_id, o.job, o.kind || ', ' || coalesce(f.kind, 'not known') as stratum,
            coalesce(o.reported <= o.delivered + {FOLLOWED_DAYS} and {event.replace("first", "o.first")}, false) as back
          from observed as o left join known_family as f using (family)
          where o.end_observed >= o.delivered + {FOLLOWED_DAYS}
        )""",
        values,
    )


def _before(history: History) -> pl.DataFrame:
    ctes, values = _followed(history)
    names = ", ".join(f"'{mark.name}'" for mark in MARKS)
    return history.query(
        f"""with {ctes}, {KINDS},
        place as (select position_id, bit from known_position join kinds using (component)),
        failed as (  -- one row per job and kind of damage found: the components that had it, as bits
          select f.job_id, coalesce(f.damage_mode, 'damage not written down') as damage_mode, bit_or(p.bit) as bits
          from known_finding as f join place as p using (position_id) where f.failed group by all
        ),
        looked as (  -- one row per job: the components looked at, as bits
          select job_id, bit_or(bit) as bits from known_finding join place using (position_id)
          where failed is not null group by job_id
        ),
        found as (select bits, damage_mode, count(*) as jobs from failed group by all),
        damages as (
          select k.bit, damage_mode from found join kinds as k on bits & k.bit <> 0
          group by all having sum(jobs) >= {MINIMUM_JOBS}
        ),
        mark as (select unnest(range({len(MARKS)})) as number, unnest([{names}]) as mark),
        marked as (
          select asked, had, stratum, count(*) as jobs, count(*) filter (back) as back
          from ({every_mark(MARKS)}) join followed using (job_id) group by all
        ),
        alike as (select bits, stratum, count(*) as jobs, count(*) filter (back) as back
          from looked join followed using (job_id) group by all),
        seen as (  -- one row per component and stratum: jobs in which it was looked at
          select k.bit, stratum, sum(jobs)::bigint as jobs, sum(back)::bigint as back
          from alike join kinds as k on bits & k.bit <> 0 group by all
        ),
        bad_alike as (select bits, damage_mode, stratum, count(*) as jobs, count(*) filter (back) as back
          from failed join followed using (job_id) group by all),
        bad as (  -- one row per component, damage and stratum: jobs in which it was found
          select k.bit, damage_mode, stratum, sum(jobs)::bigint as jobs, sum(back)::bigint as back
          from bad_alike join kinds as k on bits & k.bit <> 0 group by all
        )
        select 'practice' as of, m.mark, f.stratum,
          coalesce(sum(jobs) filter (had & bit <> 0), 0)::bigint as jobs_with,
          coalesce(sum(back) filter (had & bit <> 0), 0)::bigint as back_with,
          coalesce(sum(jobs) filter (had & bit = 0), 0)::bigint as jobs_without,
          coalesce(sum(back) filter (had & bit = 0), 0)::bigint as back_without
        from marked as f join (select *, 1::bigint << number as bit from mark) as m on asked & m.bit <> 0 group by all
        union all
        select 'finding', replace(k.component || ' found failed: ' || d.damage_mode, '_', ' '), s.stratum,
          coalesce(b.jobs, 0), coalesce(b.back, 0), s.jobs - coalesce(b.jobs, 0), s.back - coalesce(b.back, 0)
        from damages as d join kinds as k using (bit) join seen as s using (bit)
        left join bad as b on b.bit = d.bit and b.damage_mode = d.damage_mode and b.stratum = s.stratum
        order by all""",
        values,
    )


def _together(history: History) -> pl.DataFrame:
    where, values = conditions(history.scope, _FILTERS, "opened")
    return history.query(
        f"""with {KINDS},
        strip as (  -- one row per full strip: components looked at, and found failed, as bits
          select job_id, any_value(family) as family, bit_or(bit) as looked, coalesce(bit_or(bit) filter (failed), 0) as failed,
            coalesce(least(any_value(coalesce(unit_distance_m, odometer_m)) // 100000000, 4)::varchar, 'not known') as band
          from known_component_finding join kinds using (component)
          where full_strip and failed is not null and {where} group by job_id
        ),
        alike as (select family, band, looked, failed, count(*) as n from strip group by all)
        select 'found together' as of, replace(a.component || ' and ' || b.component, '_', ' ') as mark,
          s.family || ', ' || s.band as stratum,
          coalesce(sum(n) filter (failed & a.bit <> 0), 0)::bigint as jobs_with,
          coalesce(sum(n) filter (failed & a.bit <> 0 and failed & b.bit <> 0), 0)::bigint as back_with,
          coalesce(sum(n) filter (failed & a.bit = 0), 0)::bigint as jobs_without,
          coalesce(sum(n) filter (failed & a.bit = 0 and failed & b.bit <> 0), 0)::bigint as back_without
        from alike as s join kinds as a on s.looked & a.bit <> 0
        join kinds as b on s.looked & b.bit <> 0 and a.component < b.component
        group by all order by all""",
        values,
    )


def _tested(tables: pl.DataFrame) -> pl.DataFrame:
    rows = []
    for (of, mark), part in tables.partition_by("of", "mark", as_dict=True, maintain_order=True).items():
        told = {name: int(part[name].sum()) for name in ("back_with", "jobs_with", "back_without", "jobs_without")}
        if min(told["jobs_with"], told["jobs_without"]) < MINIMUM_JOBS:
            fewest = min(told["jobs_with"], told["jobs_without"])
            rows.append({"kind": of, "mark": mark, **told, "said": f"too few to say ({fewest} of {MINIMUM_JOBS} jobs)"})
            continue
        found = _odds(part)
        if isinstance(found, TooFew):
            rows.append({"kind": of, "mark": mark, **told, "said": str(found)})
            continue
        limits = {
            name: value if np.isfinite(value) else None
            for name, value in (("odds_ratio", found.estimate), ("low", found.lower), ("high", found.upper))
        }
        rows.append({"kind": of, "mark": mark, **told, **limits, "chance": found.p_value})
    frame = pl.DataFrame(rows, schema={name: kind for name, kind in SCHEMA.items() if name != "stands_out"})
    tested = frame["chance"].is_not_null()
    adjusted = iter(benjamini_hochberg(frame["chance"].drop_nulls().to_numpy()).tolist() if tested.any() else [])
    chance = [next(adjusted) if one else None for one in tested.to_list()]
    return (
        frame.with_columns(pl.Series("chance", chance, dtype=pl.Float64))
        .with_columns((pl.col("chance") <= LOOKED_FOR).alias("stands_out"))
        .select(list(SCHEMA))
        .sort("chance", pl.col("odds_ratio").log().abs(), "mark", descending=[False, True, False], nulls_last=True)
    )


def _odds(part: pl.DataFrame) -> OddsRatio | TooFew:
    a, n, c, m = (part[x].to_numpy() for x in ("back_with", "jobs_with", "back_without", "jobs_without"))
    tables = np.stack([np.stack([a, n - a], 1), np.stack([c, m - c], 1)], 1)
    if a.sum() + c.sum() >= EXACT_BELOW:
        found = mantel_haenszel(tables)
        if not isinstance(found, TooFew):
            return found
    return exact_odds_ratio(tables)


SCHEMA = {
    "kind": pl.String, "mark": pl.String, "odds_ratio": pl.Float64, "low": pl.Float64, "high": pl.Float64,
    "back_with": pl.Int64, "jobs_with": pl.Int64, "back_without": pl.Int64, "jobs_without": pl.Int64,
    "stands_out": pl.Boolean, "chance": pl.Float64, "said": pl.String,
}  # fmt: skip


def _sentence(rows: pl.DataFrame, of: str) -> tuple[str, str, str]:
    told = rows.filter(pl.col("chance").is_not_null())
    if told.is_empty():
        fewest = pl.min_horizontal("jobs_with", "jobs_without")
        nearest = rows.sort(fewest, descending=True).row(0, named=True) if rows.height else None
        most = min(nearest["jobs_with"], nearest["jobs_without"]) if nearest else 0
        if nearest and most >= MINIMUM_JOBS:  # jobs are enough, but the test says what is too few
            return f"{str(nearest['said']).capitalize()}, for '{nearest['mark']}' and every other mark.", "", ""
        return f"Too few to say ({most} of {MINIMUM_JOBS} jobs with a mark and without).", "", ""
    out = told.filter("stands_out")
    if out.is_empty():
        looked = count_of(told.height, "mark")
        return f"Nothing stands out among {looked} looked at.", "0", f"of {looked} stand out"
    if of == "comebacks":
        more = out.filter(pl.col("odds_ratio") > 1)
        top = (more if more.height else out).row(0, named=True)
        does = f"come back within 12 months: {top['back_with']} of {top['jobs_with']}"
        other = f"without it {top['back_without']} of {top['jobs_without']}"
        sentence = f"Jobs with '{top['mark']}' {does}, {other}; an association."
    else:
        more = out.filter(pl.col("odds_ratio").is_null() | (pl.col("odds_ratio") > 1))
        if more.is_empty():
            return (
                "No two components are found bad together more often than each by itself explains "
                f"({told.height} pairs); units come in because one thing failed, so that pairs are rather rarer.",
                "0",
                f"of {told.height} pairs stand out above",
            )
        top = more.row(0, named=True)
        one, _, two = top["mark"].partition(" and ")
        sentence = (
            f"Found bad together most surely: {one} and {two}: with the first failed, the other was in "
            f"{top['back_with']} of {top['jobs_with']}, else in {top['back_without']} of {top['jobs_without']}."
        )
    odds = "beyond counting" if top["odds_ratio"] is None else f"{top['odds_ratio']:.1f}"
    return sentence, odds, f"times the odds: {top['mark']}"


def _ledger(history: History, of: str) -> tuple[Assumption, ...]:
    if of == "found-together":
        told = history.query(
            "select count(distinct job_id) filter (full_strip) as strips, "
            "count(distinct job_id) filter (not full_strip) as parts "
            "from known_component_finding where failed is not null"
        ).row(0, named=True)
        return (Assumption("Full strips; part strips look only at what is suspected", told["strips"], told["parts"]),)
    ctes, values = _followed(history)
    told = history.query(
        f"with {ctes} select count(*) as jobs, (select count(*) from observed) as every, "
        "count(*) filter (back) as back from followed",
        values,
    ).row(0, named=True)
    return (
        Assumption("Delivered jobs followed for 12 months whatever happens", told["jobs"],
                   told["every"] - told["jobs"]),
        Assumption("Of these came back for what we did (ours, a part, or outcome not written down)", told["back"],
                   told["jobs"] - told["back"]),
    )  # fmt: skip


def columns_of(of: str) -> tuple[Column, ...]:
    back = "Came back" if of == "comebacks" else "Other failed too"
    return (
        Column("kind", "Kind"),
        Column("mark", "Mark"),
        Column("odds_ratio", "Odds ratio", "odds with the mark over odds without, in like strata", "factor"),
        Column("low", "from", "lower 95 % limit", "factor"),
        Column("high", "to", "upper 95 % limit", "factor"),
        Column("back_with", f"{back}, with"),
        Column("jobs_with", "Jobs with"),
        Column("back_without", f"{back}, without"),
        Column("jobs_without", "Jobs without"),
        Column("stands_out", "Stands out", "after allowing for all looks of this table"),
        Column("chance", "Chance", "adjusted chance of so much, if the mark told nothing"),
        Column("said", "If too few"),
    )


def _jobs_behind(history: History, row: Mapping[str, str]) -> pl.DataFrame:
    ctes, values = _followed(history)
    if row.get("of") == "found-together":
        one, _, two = row["mark"].replace(" ", "_").partition("_and_")
        return jobs_behind(
            history,
            """select job, 'both found failed' as because from (
              select job, count(distinct component) filter (failed and component in ($one, $two)) as n
              from known_component_finding where full_strip group by job) where n = 2""",
            {"one": one, "two": two},
        )
    if row.get("kind") == "practice":
        sql = next(mark.sql for mark in MARKS if mark.name == row["mark"])
        having = f"select job_id from ({sql}) where did"
    else:
        having = (
            "select job_id from known_component_finding where failed and replace(component || ' found failed: ' || "
            "coalesce(damage_mode, 'damage not written down'), '_', ' ') = $mark"
        )
        values = {**values, "mark": row["mark"]}
    return jobs_behind(
        history,
        f"with {ctes} select job, 'came back within 12 months' as because "
        f"from followed where job_id in ({having}) and back",
        values,
    )


GOES_BEFORE_COMEBACKS = Question(
    name="goes-before-comebacks",
    about="Which practices and findings go before comebacks, and which components are found bad together",
    for_whom="lead technician",
    ask=goes_before_comebacks,
    options=(Option("of", "what is looked for", OF, "comebacks"),),
    jobs_behind=_jobs_behind,
)
