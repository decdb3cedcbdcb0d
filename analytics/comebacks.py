"""Answer: what share of delivered jobs comes back, by months and by distance?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import polars as pl

from analytics.answer import Answer, Assumption, Column
from analytics.comeback_distance import distance_curves
from analytics.comeback_observations import ASSUMED_WARRANTY_MONTHS, comeback_observations, durations
from analytics.estimators.kaplan_meier import SurvivalCurves, kaplan_meier
from analytics.history import History
from analytics.job_list import jobs_behind
from analytics.question import Option, Question
from analytics.wording import between, count_of, percent

MINIMUM_AT_RISK = 10
MONTHS = (3, 6, 12, 24)
RULES = {"end_observed": "observed", "end_all": "as if all were followed", "end_sighted": "independent sightings only"}
METHOD = (
    "Kaplan-Meier, log-log limits, 95 %, by unit. A job is observed up to the day asked, retirement, another workshop "
    "or an unrelated full rebuild; a unit without a register or routine sightings only while a comeback would have "
    "been free, since silence says nothing after that. A comeback is never taken as proof of follow-up. Comebacks "
    "count within 24 months, whatever warranty was sold."
)
GROUPS = ("all", "family", "technician", "fleet", "duty", "kind", "year")


def comebacks(history: History, options: Mapping[str, str]) -> Answer:
    """Return the share of delivered jobs that came back by 3, 6, 12 and 24 months (Kaplan-Meier), all and ours only.

    Rows: group, ours, months, share, low, high (95 %), at_risk, jobs, comebacks, said (where too few are left).
    Curves: "months" (rule, ours, at, share, low, high, at_risk) under the rule of the house and its two
    sensitivities; "distance" the same by km, with imputed odometers' uncertainty in the interval.
    """
    by = options["by"]
    frame = comeback_observations(history)
    rows = pl.concat([_rows(frame, by, ours) for ours in (False, True)])
    curves = _curves(frame)
    sentence, number, about = _sentence(rows, by)
    return Answer(
        question="comebacks",
        as_of=history.as_of,
        warehouse_version=history.warehouse.version,
        filters=history.scope.filters(),
        sentence=sentence,
        number=number,
        number_about=about,
        method=METHOD,
        grain=f"one row per {by}, all or ours only, and months since delivery",
        rows=rows,
        columns=_COLUMNS,
        notes=(
            "Ours only: a comeback of another outcome does not end the observation; inferred ones have no outcome.",
        ),
        assumptions=_ledger(frame, curves, rows),
        curves={"months": curves, "distance": distance_curves(frame)},
    )


def _rows(frame: pl.DataFrame, by: str, ours: bool) -> pl.DataFrame:
    """Return the shares at the stated months, per group."""
    seen, _ = durations(frame, "end_observed", "reported_ours" if ours else "reported")
    seen = seen.with_columns(_group(by).alias("group"))
    groups = seen["group"].unique().sort().to_list()
    if seen.is_empty():
        return pl.DataFrame(schema=_SCHEMA)
    code = seen.select(pl.col("group").rank("dense").cast(pl.Int64) - 1).to_series().to_numpy()
    fit = _fit(seen, code, len(groups))
    at = fit.at(MONTHS)
    counts = seen.group_by("group").agg(pl.len().alias("jobs"), pl.col("came_back").sum().alias("comebacks"))
    told = {name: (jobs, events) for name, jobs, events in counts.iter_rows()}
    rows = []
    for g, name in enumerate(groups):
        for m, months in enumerate(MONTHS):
            at_risk = int(at.at_risk[g, m])
            row: dict[str, Any] = {"group": name, "ours": ours, "months": months, "at_risk": at_risk}
            row["jobs"], row["comebacks"] = told[name]
            if at_risk >= MINIMUM_AT_RISK:
                row |= {
                    "share": 1 - float(at.estimate[g, m]),
                    "low": 1 - float(at.upper[g, m]),
                    "high": 1 - float(at.lower[g, m]),
                }
            else:
                row["said"] = f"too few to say ({at_risk} of {MINIMUM_AT_RISK} still observed)"
            rows.append(row)
    return pl.DataFrame(rows, schema=_SCHEMA)


_SCHEMA: dict[str, type[pl.DataType]] = {
    "group": pl.String, "ours": pl.Boolean, "months": pl.Int64, "share": pl.Float64, "low": pl.Float64,
    "high": pl.Float64, "at_risk": pl.Int64, "jobs": pl.Int64, "comebacks": pl.Int64, "said": pl.String,
}  # fmt: skip


def _group(by: str) -> pl.Expr:
    if by == "all":
        return pl.lit("all")
    if by == "year":
        return pl.col("delivered").dt.year().cast(pl.String)
    return pl.col(by).fill_null("private owners" if by == "fleet" else "not known")


def _fit(seen: pl.DataFrame, group: Any = None, groups: int | None = None) -> SurvivalCurves:
    unit = seen.select(pl.col("unit").rank("dense").cast(pl.Int64) - 1).to_series().to_numpy()
    return kaplan_meier(seen["months"].to_numpy(), seen["came_back"].to_numpy(), group=group, groups=groups, unit=unit)


def _curves(frame: pl.DataFrame) -> pl.DataFrame:
    """Return the curves under each rule, all and ours only, at every half month."""
    parts = []
    grid = [step / 2 for step in range(49)]
    for rule, name in RULES.items():
        for ours in (False, True):
            seen, _ = durations(frame, rule, "reported_ours" if ours else "reported")
            if seen.is_empty():
                continue
            at = _fit(seen).at(grid)
            parts.append(
                pl.DataFrame(
                    {
                        "rule": name,
                        "ours": ours,
                        "at": grid,
                        "share": (1 - at.estimate[0]).tolist(),
                        "low": (1 - at.upper[0]).tolist(),
                        "high": (1 - at.lower[0]).tolist(),
                        "at_risk": at.at_risk[0].astype(int).tolist(),
                    }
                ).filter(pl.col("at_risk") >= MINIMUM_AT_RISK)
            )
    schema = {"rule": pl.String, "ours": pl.Boolean, "at": pl.Float64, "share": pl.Float64, "low": pl.Float64,
              "high": pl.Float64, "at_risk": pl.Int64}  # fmt: skip
    return pl.concat(parts) if parts else pl.DataFrame(schema=schema)


def _sentence(rows: pl.DataFrame, by: str) -> tuple[str, str, str]:
    if rows.is_empty():
        return "No job was delivered in this scope.", "", ""
    told = rows.filter((pl.col("months") == 12) & pl.col("share").is_not_null() & ~pl.col("ours"))
    if told.is_empty():
        twelve = rows.filter((pl.col("months") == 12) & ~pl.col("ours"))
        most = max(twelve["at_risk"].to_list())
        return f"Too few to say ({most} of {MINIMUM_AT_RISK} jobs still observed at 12 months).", "", ""
    top = told.sort("low", "group", descending=[True, False]).row(0, named=True)
    whose = "delivered jobs" if by == "all" else f"jobs ({by} {top['group']})"
    sentence = (
        f"Within 12 months {percent(top['share'])} of {whose} come back ({between(top['low'], top['high'])}; "
        f"{count_of(top['comebacks'], 'comeback')} from {count_of(top['jobs'], 'job')}, young jobs counted for as long "
        "as they were followed)."
    )
    ours = rows.filter((pl.col("months") == 12) & pl.col("ours") & (pl.col("group") == top["group"]))
    if not ours.is_empty() and ours["share"][0] is not None:
        sentence += f" By our own work: {percent(ours['share'][0])} ({between(ours['low'][0], ours['high'][0])})."
    return sentence, percent(top["share"]), "of delivered jobs come back within 12 months"


def _outcome_unknown(frame: pl.DataFrame, rows: pl.DataFrame) -> Assumption:
    """Say how far 'ours only' could move if every comeback of unknown outcome were ours."""
    unknown = pl.col("reported").is_not_null() & pl.col("first_outcome").is_null()
    widened = frame.with_columns(
        pl.when(unknown)
        .then(pl.min_horizontal("reported", "reported_ours"))
        .otherwise("reported_ours")
        .alias("reported_ours")
    )
    moves = None
    ours = rows.filter((pl.col("months") == 12) & pl.col("ours") & (pl.col("group") == "all"))
    most = _rows(widened, "all", True).filter(pl.col("months") == 12)
    if not ours.is_empty() and ours["share"][0] is not None and not most.is_empty() and most["share"][0] is not None:
        moves = f"{percent(ours['share'][0])} at 12 months becomes {percent(most['share'][0])}"
    known = frame.filter(pl.col("first_outcome").is_not_null()).height
    return Assumption(
        "Ours only: comebacks whose outcome is written down", known, frame.filter(unknown).height,
        "every comeback of unknown outcome is ours", moves,
    )  # fmt: skip


def _ledger(frame: pl.DataFrame, curves: pl.DataFrame, rows: pl.DataFrame) -> tuple[Assumption, ...]:
    lines = []
    at_12 = {
        row["rule"]: row["share"] for row in curves.filter((pl.col("at") == 12) & ~pl.col("ours")).iter_rows(named=True)
    }
    house = at_12.get("observed")
    for rule, name in RULES.items():
        _, counts = durations(frame, rule)
        moves = None
        if name != "observed" and house is not None and name in at_12:
            moves = f"{percent(house)} at 12 months becomes {percent(at_12[name])}"
        text = "Observed under the rule of the house" if name == "observed" else f"Sensitivity: {name}"
        lines.append(
            Assumption(text, counts["observed"], counts["not_observed"], None if name == "observed" else name, moves)
        )
    inferred = int((~frame["first_given"].fill_null(value=True)).sum())
    given = int(frame["reported"].is_not_null().sum()) - inferred
    lines.append(Assumption("Comebacks given in the records (others are inferred and marked so)", given, inferred))
    lines.append(_outcome_unknown(frame, rows))
    assumed = int(frame["warranty_assumed"].sum())
    lines.append(
        Assumption(
            f"Warranty written down; where it is not, {ASSUMED_WARRANTY_MONTHS} months are assumed",
            frame.height - assumed,
            assumed,
        )
    )
    return tuple(lines)


_COLUMNS = (
    Column("group", "Group"),
    Column("ours", "Ours only", "comebacks by our own work only"),
    Column("months", "By month", "months since delivery", "months"),
    Column("share", "Came back", "share of delivered jobs", "share"),
    Column("low", "from", "lower 95 % limit", "share"),
    Column("high", "to", "upper 95 % limit", "share"),
    Column("at_risk", "Still observed", "jobs still observed at that age"),
    Column("jobs", "Jobs"),
    Column("comebacks", "Comebacks", "within 24 months and while observed"),
    Column("said", "If too few"),
)


def _jobs_behind(history: History, row: Mapping[str, str]) -> pl.DataFrame:
    by = row.get("by", "all")
    seen, _ = durations(comeback_observations(history), "end_observed")
    came_back = seen.filter(pl.col("came_back")).with_columns(_group(by).alias("group"))
    if row.get("group"):
        came_back = came_back.filter(pl.col("group") == row["group"])
    if came_back.is_empty():
        return jobs_behind(history, "select job, '' as because from known_job where false", {})
    return jobs_behind(
        history,
        """
        select o.job, 'came back on ' || o.reported || coalesce(' as job ' || k.comeback_job, '')
          || coalesce(': ' || replace(k.outcome, '_', ' '), '') || if(k.given, '', ' (inferred)') as because
        from (select unnest($jobs) as job, unnest($reported) as reported) as o
        left join known_comeback_link as k on k.original_job = o.job and k.reported = o.reported
        """,
        {"jobs": came_back["job"].to_list(), "reported": came_back["reported"].to_list()},
    )


COMEBACKS = Question(
    name="comebacks",
    about="What share of delivered jobs comes back, by months and by distance, all and ours only",
    for_whom="owner",
    ask=comebacks,
    options=(Option("by", "what one row stands for", GROUPS, "all"),),
    jobs_behind=_jobs_behind,
)
