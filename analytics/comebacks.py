"""Answer: what share of delivered jobs comes back, by months and by distance?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import polars as pl

from analytics import comeback_causes, comeback_quarters
from analytics.answer import Answer, Assumption, Column
from analytics.comeback_causes import CAUSES, cause_rows, with_cause
from analytics.comeback_curves import MINIMUM_AT_RISK, RULES, Fits, curves_by_months, fit_days, fit_rules
from analytics.comeback_distance import distance_curves
from analytics.comeback_links import chains
from analytics.comeback_observations import (
    ASSUMED_WARRANTY_MONTHS,
    DAYS_PER_MONTH,
    comeback_observations,
    durations,
)
from analytics.comeback_quarters import by_quarter
from analytics.estimators.kaplan_meier import SurvivalCurves
from analytics.history import History
from analytics.job_list import jobs_behind
from analytics.question import Option, Question
from analytics.wording import between, count_of, percent

MONTHS = (3, 6, 12, 24)
METHOD = (
    "Kaplan-Meier, log-log limits, 95 %, by unit. A job is observed up to the day asked, retirement, another workshop "
    "or an unrelated full rebuild; a unit without a register or routine sightings only while a comeback would have "
    "been free, since silence says nothing after that. A comeback is never taken as proof of follow-up. Comebacks "
    "count within 24 months, whatever warranty was sold."
)
GROUPS = ("all", "family", "technician", "fleet", "duty", "kind", "refitted-by", "year")
BY = (*GROUPS, "quarter", *CAUSES)
_TEXTS = {
    "family": "family", "technician": "technician", "fleet": "fleet", "duty": "duty", "kind": "kind",
    "refitted-by": "refitted_by",
}  # fmt: skip
_NOT_WRITTEN = {"fleet": "private owners"}


def comebacks(history: History, options: Mapping[str, str]) -> Answer:
    """Return the share of delivered jobs that came back by 3, 6, 12 and 24 months (Kaplan-Meier), all and ours only.

    Rows: group, ours, months, share, low, high (95 %), at_risk, jobs, comebacks, said (where too few are left). By
    outcome, component, damage mode, payer or scope: cumulative incidence, other causes competing. By quarter: what
    each quarter's deliveries have come to, and will.
    Curves: "months" (rule, ours, at, share, low, high, at_risk) under the rule of the house and its
    sensitivities; "distance" the same by km, with imputed odometers' uncertainty in the interval; "quarters" the
    deliveries of each quarter; "chains" jobs that came back more than once.
    """
    by = options["by"]
    frame = comeback_observations(history, names=_names(by))
    fits = fit_rules(frame)
    curves = curves_by_months(fits)
    everybody = _rows_of_all(fits, frame)
    quarters = by_quarter(frame, history.as_of)
    if by in CAUSES:
        rows = cause_rows(history, frame, by, MONTHS)
    elif by == "quarter":
        rows = quarters
    elif by == "all":
        rows = everybody
    else:
        rows = pl.concat([_rows(frame, by, ours) for ours in (False, True)])
    grouped = by in GROUPS
    sentence, number, about = _sentence(rows if grouped else everybody, by if grouped else "all")
    kept, view = history.warehouse.kept, (history.as_of, history.scope)
    again: pl.DataFrame = kept.get(("chains", *view), lambda: chains(history))
    distance: pl.DataFrame = kept.get(("distance curves", *view), lambda: distance_curves(frame))  # whatever `by` is
    return Answer(
        question="comebacks",
        as_of=history.as_of,
        warehouse_version=history.warehouse.version,
        filters=history.scope.filters(),
        sentence=sentence + _more(by, rows),
        number=number,
        number_about=about,
        method={"quarter": comeback_quarters.METHOD, **dict.fromkeys(CAUSES, comeback_causes.METHOD)}.get(by, METHOD),
        grain=_grain(by),
        rows=rows,
        columns=_QUARTER_COLUMNS if by == "quarter" else _COLUMNS,
        notes=_notes(frame, again, quarters),
        assumptions=_ledger(frame, curves, everybody),
        curves={"months": curves, "distance": distance, "quarters": quarters, "chains": again},
    )


def _names(by: str) -> tuple[str, ...]:
    return (_TEXTS[by],) if by in _TEXTS else ()


def _grain(by: str) -> str:
    if by == "quarter":
        return "one row per quarter of delivery"
    whose = "cause of the first comeback" if by in CAUSES else by
    return f"one row per {whose}, all or ours only, and months since delivery"


def _rows_of_all(fits: Fits, frame: pl.DataFrame) -> pl.DataFrame:
    """Return the shares at the stated months of all jobs, from the curves that are drawn anyway."""
    found = {ours: fit for (rule, ours), fit in fits.items() if rule == "end_observed"}
    parts = [pl.DataFrame(schema=_SCHEMA)]
    parts += [_read(fit, ["all"], ours) for ours, fit in sorted(found.items())]
    return pl.concat(parts)


def _rows(frame: pl.DataFrame, by: str, ours: bool) -> pl.DataFrame:
    """Return the shares at the stated months, per group."""
    seen, _ = durations(frame, "end_observed", "reported_ours" if ours else "reported")
    if seen.is_empty():
        return pl.DataFrame(schema=_SCHEMA)
    seen = seen.with_columns(_group(by).alias("group"))
    groups = seen["group"].unique().sort().to_list()
    code = seen["group"].cast(pl.Enum(groups)).to_physical().cast(pl.Int64).to_numpy()
    return _read(fit_days(seen, code, len(groups)), groups, ours)


def _read(fit: SurvivalCurves, groups: list[str], ours: bool) -> pl.DataFrame:
    """Return the shares at the stated months that the curves of the groups give."""
    at = fit.at(np.array(MONTHS) * DAYS_PER_MONTH)
    by_then = [
        np.bincount(fit.table.group, fit.table.events[0] * (fit.table.time <= months * DAYS_PER_MONTH), len(groups))
        for months in MONTHS
    ]
    rows = []
    for g, name in enumerate(groups):
        for m, months in enumerate(MONTHS):
            at_risk = int(at.at_risk[g, m])
            row: dict[str, Any] = {"group": name, "ours": ours, "months": months, "at_risk": at_risk}
            row["jobs"], row["comebacks"] = int(fit.table.observations[g]), int(by_then[m][g])
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
    return pl.col(_TEXTS[by]).fill_null(_NOT_WRITTEN.get(by, "not known"))


def _more(by: str, rows: pl.DataFrame) -> str:
    """Return what an answer that is split by cause or quarter adds to the sentence."""
    told = rows.filter(pl.col("share").is_not_null()) if not rows.is_empty() else rows
    if by in CAUSES:
        told = told.filter(pl.col("months") == 12)
        listed = [
            f"{row['group'].replace('_', ' ')} {percent(row['share'])}" for row in told.head(3).iter_rows(named=True)
        ]
        return f" Within 12 months by {by.replace('-', ' ')}: {', '.join(listed)}." if listed else ""
    if by == "quarter" and told.filter("young").height:
        row = told.filter("young").row(0, named=True)
        return (
            f" Deliveries of {row['group']} are young: {percent(row['so_far'])} so far, and {percent(row['share'])} to "
            f"be expected ({between(row['low'], row['high'])})."
        )
    return ""


def _notes(frame: pl.DataFrame, again: pl.DataFrame, quarters: pl.DataFrame) -> tuple[str, ...]:
    notes = ["Ours only: a comeback of another outcome does not end the observation; inferred ones have no outcome."]
    if again.height:
        most = again.row(0, named=True)
        notes.append(
            f"{count_of(again.height, 'job')} came back more than once; job {most['job']} "
            f"{most['came_back']} times ({most['outcomes']})."
        )
    young = quarters.filter("young").height
    if young:
        notes.append(f"{count_of(young, 'quarter')} of delivery {'is' if young == 1 else 'are'} young; --by quarter.")
    return tuple(notes)


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
    if not ours.is_empty() and ours["share"][0] is not None:
        seen, _ = durations(widened, "end_observed", "reported_ours")
        most = fit_days(seen, by_unit=False).at(12 * DAYS_PER_MONTH).estimate[0, 0]
        moves = f"{percent(ours['share'][0])} at 12 months becomes {percent(1 - float(most))}"
    known = frame.filter(pl.col("first_outcome").is_not_null()).height
    return Assumption(
        "Ours only: comebacks whose outcome is written down", known, frame.filter(unknown).height,
        "every comeback of unknown outcome is ours", moves,
    )  # fmt: skip


_BY_MONTHS = (12, 24)
_BY_DAYS = [months * DAYS_PER_MONTH for months in _BY_MONTHS]


def given_only(frame: pl.DataFrame) -> Assumption:
    """Return how far the rate moves without the comebacks that are inferred, among which there is ordinary wear."""
    inferred = int((~frame["first_given"].fill_null(value=True)).sum())
    given = int(frame["reported"].is_not_null().sum()) - inferred
    rule, moves = "Comebacks given in the records (others are inferred and marked so)", None
    if inferred and given:
        seen = [durations(frame, "end_observed", reported)[0] for reported in ("reported", "reported_given")]
        every, some = (fit_days(f, by_unit=False).at(_BY_DAYS) for f in seen)
        told = [
            f"{percent(1 - float(every.estimate[0, place]))} at {months} months becomes "
            f"{percent(1 - float(some.estimate[0, place]))}"
            for place, months in enumerate(_BY_MONTHS)
            if every.at_risk[0, place] >= MINIMUM_AT_RISK
        ]
        moves = "; ".join(told) or None
    return Assumption(rule, given, inferred, "given ones only" if moves else None, moves)


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
    lines.append(given_only(frame))
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
    Column("comebacks", "Comebacks", "by then, while observed"),
    Column("said", "If too few"),
)


_QUARTER_COLUMNS = (
    Column("group", "Delivered in"),
    Column("young", "Young", "less than 24 months old: more comebacks are to be expected"),
    Column("so_far", "Came back so far", "known comebacks of jobs delivered", "share"),
    Column("share", "To be expected", "once all comebacks within 24 months are known", "share"),
    Column("low", "from", "lower 95 % limit", "share"),
    Column("high", "to", "upper 95 % limit", "share"),
    Column("known_by_now", "Known by now", "share of its comebacks that would be known by now", "share"),
    Column("comebacks", "Comebacks"),
    Column("jobs", "Jobs"),
    Column("said", "If too few"),
)


def _jobs_behind(history: History, row: Mapping[str, str]) -> pl.DataFrame:
    by = row.get("by", "all")
    frame = comeback_observations(history, names=("job", *_names(by)))
    if by in CAUSES:
        seen = with_cause(history, frame, by).with_columns(pl.col("cause").alias("group"))
        seen = seen.filter(pl.col("came_back"))
    else:
        seen, _ = durations(frame, "end_observed", "reported_ours" if row.get("ours") == "True" else "reported")
        quarter = pl.format("{} Q{}", pl.col("delivered").dt.year(), pl.col("delivered").dt.quarter())
        seen = seen.filter(pl.col("came_back")).with_columns(
            (quarter if by == "quarter" else _group(by)).alias("group")
        )
    if row.get("group"):
        seen = seen.filter(pl.col("group") == row["group"])
    if row.get("months") and by != "quarter":
        seen = seen.filter(pl.col("days") <= float(row["months"]) * DAYS_PER_MONTH)
    if seen.is_empty():
        return jobs_behind(history, "select job, '' as because from known_job where false", {})
    reported = "reported_ours" if row.get("ours") == "True" else "reported"
    return jobs_behind(
        history,
        """
        select o.job, 'came back on ' || o.reported || coalesce(' as job ' || k.comeback_job, '')
          || coalesce(': ' || replace(k.outcome, '_', ' '), '') || if(k.given, '', ' (inferred)') as because
        from (select unnest($jobs) as job, unnest($reported) as reported) as o
        left join known_comeback_link as k on k.original_job = o.job and k.reported = o.reported
        """,
        {"jobs": seen["job"].to_list(), "reported": seen[reported].to_list()},
    )


COMEBACKS = Question(
    name="comebacks",
    about="What share of delivered jobs comes back, by months and by distance, all and ours only",
    for_whom="owner",
    ask=comebacks,
    options=(Option("by", "what one row stands for", BY, "all"),),
    jobs_behind=_jobs_behind,
)
