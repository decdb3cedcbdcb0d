"""Answer: which practices, suppliers, makers, lots or people have more comebacks than others with the same work?"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import polars as pl
from scipy import special

from analytics.answer import Answer, Assumption, Column
from analytics.comeback_exposure import (
    COMPONENT,
    JOB_STRATA,
    OURS,
    PIECE_STRATA,
    TOGETHER,
    Cells,
    job_cells,
    mark_cells,
    piece_cells,
)
from analytics.comeback_observations import comeback_observations, durations
from analytics.estimators.arrays import FloatArray
from analytics.estimators.expectation import Expectation, expect_from_others, ratio_to_others
from analytics.estimators.funnel import Funnel, funnel, funnel_limits
from analytics.estimators.interval import TooFew
from analytics.estimators.multiple_testing import benjamini_hochberg
from analytics.estimators.shrinkage import gamma_poisson
from analytics.history import History
from analytics.job_list import jobs_behind
from analytics.job_marks import MARKS
from analytics.question import Option, Question
from analytics.wording import count_of

MINIMUM_EXPECTED = 1.0  # below, nothing that could happen would tell
TELLS = 1.5  # the ratio for which the number of jobs needed is given
POWER = 0.8
LEAST_OF_A_LOT = 8  # pieces, below which a lot is told of only among the others: no rate of theirs would tell
LOOKED_FOR = 0.05
OF = ("practice", "supplier", "maker", "lot", "technician")
_COLUMNS_OF = {"supplier": "p.supplier", "maker": "p.maker", "lot": "p.part || ', ' || p.lot"}
METHOD = (
    "Observed comebacks over those expected of the same work at everybody else's rates: jobs are laid out by weeks "
    f"observed and banded by how likely a comeback is anyway ({JOB_STRATA} bands of a ridge logistic hazard on months "
    "since delivery, kind, family, what was found failed, distance and duty; pieces by component in "
    f"{PIECE_STRATA} bands); in each band the group is left out of its own expectation. Exact conditional 95 % limits; "
    "shrunk towards the common level (gamma-Poisson); all groups of this table are one family of looks "
    "(Benjamini-Hochberg at 5 %); funnel with spread between groups (Spiegelhalter)."
)


def compare(history: History, options: Mapping[str, str]) -> Answer:
    """Return observed against expected comebacks for each group, those that stand out first.

    Rows: group, component, observed, expected, ratio, low, high, shrunk, shrunk_low, shrunk_high, chance (adjusted p),
    stands_out, beyond_funnel, jobs, alone (share of exposure compared with nobody), jobs_needed, said. Curves: "funnel"
    (expected, limits by chance and allowing for spread). Practices are compared with the same work done the other way.
    """
    of = options["of"]
    cells, names = _cells(history, of)
    rows, spread = _rows(cells.frame, names, of)
    sentence, number, about = _sentence(rows, of)
    return Answer(
        question="compare",
        as_of=history.as_of,
        warehouse_version=history.warehouse.version,
        filters=history.scope.filters(),
        sentence=sentence,
        number=number,
        number_about=about,
        method=METHOD,
        grain=f"one row per {of}",
        rows=rows,
        columns=columns_of(of),
        notes=_notes(of, rows),
        assumptions=_ledger(history, of, rows),
        curves={"funnel": _funnel_curve(rows, spread)},
    )


def _cells(history: History, of: str) -> tuple[Cells, list[str]]:
    if of == "practice":
        return mark_cells(history), ["mark", "did"]
    if of == "technician":
        return job_cells(history, "coalesce(o.technician, 'not known')"), ["group"]
    cells = piece_cells(history, _COLUMNS_OF[of], LEAST_OF_A_LOT if of == "lot" else 1)
    return cells, ["group", "component"]


def _rows(frame: pl.DataFrame, names: list[str], of: str) -> tuple[pl.DataFrame, Funnel | TooFew]:
    """Return the table, and how widely the groups spread beyond chance."""
    table = _expected(frame, names, of)
    told = table.filter(pl.col("expected") >= MINIMUM_EXPECTED)
    few = table.filter(pl.col("expected") < MINIMUM_EXPECTED)
    spread: Funnel | TooFew = TooFew("groups", told.height, 5)
    if told.height:
        observed, expected, variance = (told[x].to_numpy() for x in ("observed", "expected", "variance"))
        limits = ratio_to_others(Expectation(observed, expected, variance, np.zeros(len(observed))))
        chance = benjamini_hochberg(chance_of(observed, expected, variance))
        spread = funnel(observed, expected)
        shrunk = gamma_poisson(observed, expected)
        needed = [jobs_needed(e, jobs) for e, jobs in told.select("expected", "jobs").iter_rows()]
        told = told.with_columns(
            pl.Series("ratio", limits.estimate), pl.Series("low", limits.lower), pl.Series("high", limits.upper),
            *_optional({} if isinstance(shrunk, TooFew) else
                       {"shrunk": shrunk.shrunk, "shrunk_low": shrunk.lower, "shrunk_high": shrunk.upper}),
            pl.Series("chance", chance), pl.Series("stands_out", chance <= LOOKED_FOR),
            pl.Series("beyond_funnel", [None] * told.height if isinstance(spread, TooFew) else
                      (spread.p_added <= LOOKED_FOR).tolist(), dtype=pl.Boolean),
            pl.Series("jobs_needed", needed, dtype=pl.Int64),
        )  # fmt: skip
    said = pl.format(
        "too few to say ({} of {} comebacks expected)", (pl.col("expected") * 10).floor() / 10, MINIMUM_EXPECTED
    )
    rows = pl.concat([told, few.with_columns(said.alias("said"))], how="diagonal")
    for name, kind in SCHEMA.items():
        if name not in rows.columns:
            rows = rows.with_columns(pl.lit(None, dtype=kind).alias(name))
    order = [pl.col("stands_out").fill_null(value=False), pl.col("low").fill_null(-1.0), "jobs", "group", "component"]
    rows = rows.select(pl.col(name).cast(kind) for name, kind in SCHEMA.items())
    return rows.sort(order, descending=[True, True, True, False, False], nulls_last=True), spread


def _optional(columns: Mapping[str, FloatArray]) -> list[pl.Series]:
    return [pl.Series(name, values) for name, values in columns.items()]


def _expected(frame: pl.DataFrame, names: list[str], of: str) -> pl.DataFrame:
    """Return observed and expected comebacks of each group, pooled over its strata."""
    if of == "practice":
        families = [
            against_others(part.with_columns(pl.col("did").cast(pl.String).alias("group")), ["stratum"])
            .filter(pl.col("group") == "true")
            .with_columns(pl.lit(mark).alias("group"), pl.lit(None, dtype=pl.String).alias("component"))
            for (mark,), part in frame.partition_by("mark", as_dict=True).items()
        ]
        return pl.concat(families) if families else against_others(frame.clear(), ["stratum"])
    if of == "technician":
        return against_others(frame, ["stratum"]).with_columns(pl.lit(None, dtype=pl.String).alias("component"))
    if of == "lot" and not frame.is_empty():
        parts = [
            against_others(part, ["stratum"]).with_columns(pl.lit(component).alias("component"))
            for (component,), part in frame.partition_by("component", as_dict=True).items()
        ]
        return pl.concat(parts).filter(pl.col("group") != TOGETHER)
    return against_others(frame, ["component", "stratum"]).with_columns(
        pl.lit(None, dtype=pl.String).alias("component")
    )


def against_others(frame: pl.DataFrame, strata: list[str]) -> pl.DataFrame:
    """Return one row per group with observed, expected, variance, alone, jobs; the group is left out of its rates."""
    schema = {"group": pl.String, "observed": pl.Float64, "expected": pl.Float64, "variance": pl.Float64,
              "alone": pl.Float64, "jobs": pl.Int64}  # fmt: skip
    if frame.is_empty():
        return pl.DataFrame(schema=schema)
    summed = frame.group_by("group", *strata).agg(pl.col("events").sum(), pl.col("weeks").sum())
    groups = summed["group"].unique().sort().to_list()
    code = summed.select(
        pl.col("group").rank("dense").cast(pl.Int64) - 1,
        (pl.struct(strata).rank("dense").cast(pl.Int64) - 1).alias("place"),
    )
    shape = (len(groups), code["place"].n_unique())
    events, weeks = np.zeros(shape), np.zeros(shape)
    at = (code["group"].to_numpy(), code["place"].to_numpy())
    events[at], weeks[at] = summed["events"].to_numpy(), summed["weeks"].to_numpy()
    found = expect_from_others(events, weeks)
    jobs = dict(frame.group_by("group").agg(pl.col("jobs").sum()).iter_rows())
    told = {
        "group": groups, "observed": found.observed, "expected": found.expected, "variance": found.variance,
        "alone": found.left_out, "jobs": [int(jobs[name]) for name in groups],
    }  # fmt: skip
    return pl.DataFrame(told, schema=schema)


def chance_of(observed: FloatArray, expected: FloatArray, variance: FloatArray) -> FloatArray:
    """Return exact two-sided chances of a ratio so far from 1, the expectation worth expected^2 / variance events."""
    worth = expected**2 / np.maximum(variance, 1e-300)
    share = expected / (expected + worth)  # of all events, those of the group, at a ratio of 1
    more = np.where(observed > 0, special.betainc(np.maximum(observed, 1), worth + 1, share), 1.0)
    less = special.betaincc(observed + 1, worth, share)
    return np.asarray(np.minimum(2 * np.minimum(more, less), 1.0), dtype=np.float64)


def jobs_needed(expected: float, jobs: int) -> int:
    """Return how many jobs of the group it takes at least to tell a ratio of TELLS from 1 with 80 % power.

    Method: variance of a log ratio 1/events, the others' rates taken as known.
    """
    aim = math.log(TELLS) / float(special.ndtri(1 - LOOKED_FOR / 2) + special.ndtri(POWER))
    return math.ceil(1 / aim**2 / TELLS / (expected / jobs))


def _sentence(rows: pl.DataFrame, of: str) -> tuple[str, str, str]:
    told = rows.filter(pl.col("ratio").is_not_null())
    if rows.is_empty() and of == "lot":
        return f"Too few to say (0 of 1 lots of at least {LEAST_OF_A_LOT} pieces).", "", ""
    if rows.is_empty():
        return "No delivered job was observed in this scope.", "", ""
    if told.is_empty():
        most = rows.select((pl.col("expected").max() * 10).floor() / 10).item()  # never rounded up to what is enough
        return f"Too few to say ({most:.1f} of {MINIMUM_EXPECTED:g} comebacks expected of a {of}).", "", ""
    out = told.filter("stands_out")
    if out.is_empty():
        sentence = f"No {of} stands out among {told.height} compared"
        if of == "technician":
            needed = min(told["jobs_needed"].to_list())
            sentence += f"; to tell half as many comebacks again takes at least {needed:,} jobs of one person"
        return sentence + ".", "0", f"of {told.height} stand out"
    top = out.row(0, named=True)
    sentence = (
        f"{top['group'][0].upper()}{top['group'][1:]}: {top['observed']:.0f} comebacks where the same work "
        f"{'done the other way' if of == 'practice' else 'of the others'} would have had {top['expected']:.1f}, "
        f"{top['ratio']:.1f} times as many ({top['low']:.1f} to {top['high']:.1f}); an association."
    )
    return sentence, f"{top['ratio']:.1f}", f"times the comebacks to be expected: {top['group']}"


def _notes(of: str, rows: pl.DataFrame) -> tuple[str, ...]:
    looks = rows.filter(pl.col("ratio").is_not_null()).height
    notes = [
        f"The family of looks: {count_of(looks, 'group')} of this table. What is picked will read nearer 1 next time."
    ]
    if of == "technician":
        notes.append(
            "People last: who gets the harder jobs is only partly on record, and few jobs tell nothing. The column "
            f"'jobs needed' says how many it would take to tell {TELLS:g} times as many comebacks from none more."
        )
    if of == "lot":
        notes.append(f"Lots of fewer than {LEAST_OF_A_LOT} pieces have no row; they count among the others.")
    if of == "practice":
        notes += [f"{mark.name}: {mark.about}." for mark in MARKS]
    return tuple(notes)


def _ledger(history: History, of: str, rows: pl.DataFrame) -> tuple[Assumption, ...]:
    seen, counts = durations(
        comeback_observations(history, names=(), columns=("reported", "first_outcome", "end_observed"), ordered=False),
        "end_observed",
    )
    back = seen.filter("came_back")
    ours = int((back["first_outcome"] == "our_work").sum())
    known = int(back["first_outcome"].is_not_null().sum())
    what = "by our own work" if of in ("practice", "technician") else "for a part, our work or of unknown outcome"
    alone = rows.filter(pl.col("alone") > 0).height
    return (
        Assumption("Delivered jobs observed under the rule of the house", counts["observed"], counts["not_observed"]),
        Assumption(f"First comebacks {what} count", ours if of in ("practice", "technician") else None,
                   back.height - ours if of in ("practice", "technician") else None),
        Assumption("Comebacks whose outcome is written down", known, back.height - known),
        Assumption("Groups compared for all they did; others have work that nobody else did, which is set apart",
                   rows.height - alone, alone),
    )  # fmt: skip


def _funnel_curve(rows: pl.DataFrame, spread: Funnel | TooFew) -> pl.DataFrame:
    schema = dict.fromkeys(("expected", "chance_low", "chance_high", "spread_low", "spread_high"), pl.Float64)
    told = rows.filter(pl.col("ratio").is_not_null())
    if isinstance(spread, TooFew) or told.is_empty():
        return pl.DataFrame(schema=schema)
    most = max(told["expected"].to_list())
    at = np.geomspace(MINIMUM_EXPECTED, max(most * 1.05, 2.0), 40)
    limits = funnel_limits(at, spread)
    return pl.DataFrame(
        {
            "expected": at, "chance_low": limits.chance_lower, "chance_high": limits.chance_upper,
            "spread_low": limits.added_lower, "spread_high": limits.added_upper,
        },
        schema=schema,
    )  # fmt: skip


SCHEMA = {
    "group": pl.String, "component": pl.String, "ratio": pl.Float64, "low": pl.Float64, "high": pl.Float64,
    "shrunk": pl.Float64, "shrunk_low": pl.Float64, "shrunk_high": pl.Float64, "observed": pl.Float64,
    "expected": pl.Float64, "chance": pl.Float64, "stands_out": pl.Boolean, "beyond_funnel": pl.Boolean,
    "jobs": pl.Int64, "jobs_needed": pl.Int64, "alone": pl.Float64, "said": pl.String,
}  # fmt: skip


def columns_of(of: str) -> tuple[Column, ...]:
    jobs = "Jobs" if of in ("practice", "technician") else "Pieces"
    return (
        Column("group", of.capitalize()),
        Column("component", "Component"),
        Column("ratio", "Times expected", "observed comebacks over those expected of the same work", "factor"),
        Column("low", "from", "lower 95 % limit", "factor"),
        Column("high", "to", "upper 95 % limit", "factor"),
        Column("shrunk", "Shrunk", "drawn towards the common level, as far as few comebacks ask for", "factor"),
        Column("shrunk_low", "from", "lower 95 % limit", "factor"),
        Column("shrunk_high", "to", "upper 95 % limit", "factor"),
        Column("observed", "Comebacks"),
        Column("expected", "Expected"),
        Column("stands_out", "Stands out", "after allowing for all looks of this table"),
        Column("chance", "Chance", "adjusted chance of a ratio so far from 1, if all were alike"),
        Column("beyond_funnel", "Beyond the funnel", "also where groups spread more than chance makes them"),
        Column("jobs", jobs),
        Column("jobs_needed", f"{jobs} needed", f"to tell {TELLS:g} times as many comebacks, four times in five"),
        Column("alone", "Compared with nobody", "share of its exposure in work that nobody else did", "share"),
        Column("said", "If too few"),
    )


def _jobs_behind(history: History, row: Mapping[str, str]) -> pl.DataFrame:
    of, group = row["of"], row["group"]
    if of == "practice":
        sql = next(mark.sql for mark in MARKS if mark.name == group)
        chosen, event = f"select job_id from ({sql}) where did", OURS
    elif of == "technician":
        chosen, event = "select job_id from known_job where coalesce(technician, 'not known') = $group", OURS
    else:
        chosen = f"select p.job_id from known_part_line as p where p.fitted and {_COLUMNS_OF[of]} = $group"
        event = COMPONENT
    seen, _ = durations(comeback_observations(history, names=("job",)), "end_observed")
    back = seen.filter("came_back")
    wanted = event.replace("o.first_outcome", "f.outcome")
    values: dict[str, Any] = {"jobs": back["job"].to_list(), "outcomes": back["first_outcome"].to_list()}
    if "$group" in chosen:
        values["group"] = group
    return jobs_behind(
        history,
        f"""
        select f.job, 'came back: ' || coalesce(replace(f.outcome, '_', ' '), 'outcome not written down') as because
        from (select unnest($jobs) as job, unnest($outcomes) as outcome) as f join known_job as j using (job)
        where {wanted} and j.job_id in ({chosen})
        """,
        values,
    )


COMPARE = Question(
    name="compare",
    about="Which practices, suppliers, makers, lots or people have more comebacks than others with the same work",
    for_whom="lead technician",
    ask=compare,
    options=(Option("of", "what is compared", OF, "practice"),),
    jobs_behind=_jobs_behind,
)
