"""Answer: how far can the comebacks that the records do not give, but that were inferred, be trusted?"""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from analytics.answer import Answer, Assumption, Column
from analytics.comeback_observations import WINDOW_DAYS
from analytics.estimators.proportion import clopper_pearson
from analytics.history import History
from analytics.job_list import jobs_behind
from analytics.question import Question
from analytics.scope_sql import conditions
from analytics.wording import between, count_of, percent

MINIMUM_LINKS = 10
METHOD = (
    f"The rule: a unit is opened again within {WINDOW_DAYS} days of delivery, whatever warranty was sold, a component "
    "is found failed that an earlier job touched, and the latest such job is the one it comes back from. Recall: of "
    "the comebacks that the records give and that were opened, the share for which the rule names the same job. "
    "Precision: of the rule's comebacks, the share that the records give with the same job. "
    "Exact limits (Clopper-Pearson), 95 %."
)
_FILTERS = {"family": "v.family", "fleet": "v.fleet", "duty": "v.duty"}

# One row per job that came back by the records or by the rule, with the job it came back from by each.
_COMPARED = """
reference as (  -- one row per job that the records give as a comeback: the job it came back from
  select comeback_job, arg_min(original_job, struct_pack(day := reported, job := original_job)) as given_original
  from known_comeback_link where given and comeback_job is not null group by comeback_job
),
rule as (select comeback_job, original_job as rule_original from known_comeback_link where not given),
looked_at as (  -- one row per job with a finding: the rule can say nothing of the others
  select distinct job from known_finding where failed is not null and not from_habit
),
first_given as (  -- one row: since when the records give comebacks at all
  select min(reported) as first_day from known_comeback_link where given
),
compared as (
  select v.job, v.family, g.given_original, r.rule_original, l.job is not null as looked_at,
    o.delivered >= v.opened - $window as in_window
  from known_visit as v
  left join reference as g on g.comeback_job = v.job
  left join rule as r on r.comeback_job = v.job
  left join looked_at as l on l.job = v.job
  left join known_job as o on o.job = g.given_original
  cross join first_given as f
  where (g.comeback_job is not null or r.comeback_job is not null) and v.opened >= f.first_day and {where}
)
"""


def comeback_rule(history: History, options: Mapping[str, str]) -> Answer:
    """Return recall and precision of the rule that infers comebacks, against those that the records give.

    Rows: family ("all" for all together); given (comebacks given and opened, with findings), found (the rule names the
    same job), other_job (it names another), recall with limits; inferred (the rule's comebacks), confirmed (given with
    the same job), precision with limits; said (where too few). Shares are 95 % Clopper-Pearson.
    """
    where, values = conditions(history.scope, _FILTERS, "v.opened")
    frame = history.query(
        f"with {_COMPARED.format(where=where)} select * from compared order by family, job",
        {**values, "window": WINDOW_DAYS},
    )
    groups = [("all", frame), *((str(key[0]), part) for key, part in frame.group_by("family", maintain_order=True))]
    rows = pl.DataFrame([_row(name, part) for name, part in groups if part.height], schema=_SCHEMA)
    sentence, number, about = _sentence(rows)
    return Answer(
        question="comeback-rule",
        as_of=history.as_of,
        warehouse_version=history.warehouse.version,
        filters=history.scope.filters(),
        sentence=sentence,
        number=number,
        number_about=about,
        method=METHOD,
        grain="one row per family, and one for all",
        rows=rows,
        columns=_COLUMNS,
        notes=(
            "A comeback that nobody wrote down counts against the rule here, so that its precision is a lower bound "
            "wherever comebacks are not written down without fail.",
        ),
        assumptions=_ledger(frame),
    )


_SCHEMA: dict[str, type[pl.DataType]] = {
    "family": pl.String,
    "given": pl.Int64, "found": pl.Int64, "other_job": pl.Int64,
    "recall": pl.Float64, "recall_low": pl.Float64, "recall_high": pl.Float64,
    "inferred": pl.Int64, "confirmed": pl.Int64,
    "precision": pl.Float64, "precision_low": pl.Float64, "precision_high": pl.Float64,
    "said": pl.String,
}  # fmt: skip


def _row(family: str, part: pl.DataFrame) -> dict[str, object]:
    given = part.filter(pl.col("given_original").is_not_null() & pl.col("looked_at"))
    same = pl.col("given_original") == pl.col("rule_original")
    inferred = part.filter(pl.col("rule_original").is_not_null())
    row: dict[str, object] = {
        "family": family,
        "given": given.height,
        "found": given.filter(same).height,
        "other_job": given.filter(~same).height,
        "inferred": inferred.height,
        "confirmed": inferred.filter(same).height,
    }
    few = []
    for name, hit, all_ in (("recall", "found", "given"), ("precision", "confirmed", "inferred")):
        n, x = int(str(row[all_])), int(str(row[hit]))
        if n < MINIMUM_LINKS:
            few.append(f"{name}: too few to say ({n} of {MINIMUM_LINKS} {all_})")
            continue
        share = clopper_pearson([x], [n])
        row |= {
            name: float(share.estimate[0]),
            f"{name}_low": float(share.lower[0]),
            f"{name}_high": float(share.upper[0]),
        }
    row["said"] = "; ".join(few) or None
    return row


def _sentence(rows: pl.DataFrame) -> tuple[str, str, str]:
    if rows.is_empty():
        return "The records give no comeback in this scope to compare the rule with.", "", ""
    told = rows.row(0, named=True)
    if told["recall"] is None or told["precision"] is None:
        return f"The rule cannot be judged: {told['said']}.", "", ""
    sentence = (
        f"Of {count_of(told['given'], 'comeback')} that the records give, the rule finds {percent(told['recall'], 0)} "
        f"with the right job ({between(told['recall_low'], told['recall_high'], 0)}); of {told['inferred']:,} that it "
        f"infers, {percent(told['precision'], 0)} are given so "
        f"({between(told['precision_low'], told['precision_high'], 0)})."
    )
    return sentence, percent(told["precision"], 0), "of the comebacks that the rule infers are given in the records"


def _ledger(frame: pl.DataFrame) -> tuple[Assumption, ...]:
    given = pl.col("given_original").is_not_null()
    opened = frame.filter(given)
    looked_at = opened.filter(pl.col("looked_at"))
    inside = looked_at.filter(pl.col("in_window")).height
    found = looked_at.filter(pl.col("given_original") == pl.col("rule_original")).height
    moves = None
    if looked_at.height >= MINIMUM_LINKS and inside >= MINIMUM_LINKS:
        moves = f"recall {percent(found / looked_at.height, 0)} becomes {percent(found / inside, 0)}"
    return (
        Assumption(
            "Recall: comebacks given whose job has findings on record",
            looked_at.height,
            opened.height - looked_at.height,
        ),
        Assumption(
            f"Comebacks given later than {WINDOW_DAYS} days after delivery count as not found",
            looked_at.height,
            0,
            "only those within the window",
            moves,
        ),
        Assumption(
            "Precision: inferred comebacks since the records first give one", frame.filter(~given).height + found, None
        ),
    )


_COLUMNS = (
    Column("family", "Family"),
    Column("given", "Given", "comebacks that the records give, opened, with findings"),
    Column("found", "Found", "the rule names the same job"),
    Column("other_job", "Another job", "the rule names another job"),
    Column("recall", "Share found", "recall", "share"),
    Column("recall_low", "from", "lower 95 % limit", "share"),
    Column("recall_high", "to", "upper 95 % limit", "share"),
    Column("inferred", "Inferred", "comebacks that the rule infers"),
    Column("confirmed", "Given too", "with the same job"),
    Column("precision", "Share given", "precision", "share"),
    Column("precision_low", "from", "lower 95 % limit", "share"),
    Column("precision_high", "to", "upper 95 % limit", "share"),
    Column("said", "If too few"),
)


def _jobs_behind(history: History, row: Mapping[str, str]) -> pl.DataFrame:
    where, values = conditions(history.scope, _FILTERS, "v.opened")
    family = row.get("family")
    chosen = "family = $row_family" if family and family != "all" else "true"
    return jobs_behind(
        history,
        f"""
        select job, case
            when given_original = rule_original then 'comes back from ' || given_original || ': given and inferred'
            when given_original is null then 'inferred from ' || rule_original || ', not given'
            when rule_original is null then 'given from ' || given_original || ', not inferred'
            else 'given from ' || given_original || ', inferred from ' || rule_original end as because
        from (with {_COMPARED.format(where=where)} select * from compared) where {chosen}
        """,
        {**values, "window": WINDOW_DAYS, **({"row_family": family} if chosen != "true" else {})},
    )


COMEBACK_RULE = Question(
    name="comeback-rule",
    about="How far inferred comebacks can be trusted: how many given ones the rule finds, and how many it makes up",
    for_whom="owner",
    ask=comeback_rule,
    jobs_behind=_jobs_behind,
)
