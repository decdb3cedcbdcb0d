"""Answer: what will we find inside a unit, from what is known at arrival, and which parts should be on the shelf?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl

from analytics.answer import Answer, Assumption, Column
from analytics.estimators.interval import TooFew
from analytics.estimators.likelihood_ratio import likelihood_ratios
from analytics.expect_backtest import MINIMUM_STRIPS, ORDER_FROM, Backtest, backtest
from analytics.expect_clues import clue_matrix, clue_words
from analytics.expect_model import MINIMUM_FAILED, Expectation, Strips, fit, full_strips, predict
from analytics.expect_parts import habits, parts_expected, parts_used
from analytics.expect_request import OPTIONS, Request, read_request
from analytics.expect_untold import expected_of
from analytics.history import History
from analytics.job_list import jobs_behind
from analytics.question import Question
from analytics.wording import between, count_of, percent

MOST_SIMILAR, MOST_PARTS = 8, 12
NAMED_FROM = 0.2  # chance from which a part is named among those to have ready
MOST_CLUES = 3
TELLING = 1.5  # a likelihood ratio of at least this, or at most its inverse, is named
METHOD = (
    "Log odds of each position found failed: those of the family's plain frequency (drawn to the component's) plus "
    "what the clues add (ridge logistic regression by component, penalty by cases left out; 95 % limits of the chance, "
    "given the penalty). Full strips only. A clue's likelihood ratio is drawn towards 1 as far as few jobs ask for. "
    "Parts: how often each is used at a bad and at a sound position. Tried on past jobs, fitted each year on what was "
    "known before it."
)


@dataclass(frozen=True)
class _Found:
    """Hold what was worked out for one arrival."""

    request: Request
    strips: Strips
    model: Expectation
    expected: pl.DataFrame
    parts: pl.DataFrame
    tried: Backtest


def what_to_expect(history: History, options: Mapping[str, str]) -> Answer:
    """Return how likely each position of the unit is found failed, the likeliest first.

    Rows: position, component, probability, low, high, plain (the family's frequency), times (probability / plain),
    clues (those that speak most for or against), failed, inspected. Curves: "parts" (part, probability that any is used,
    pieces to be expected, positions), "clues" (component, clue, ratio with limits, shrunk with limits), "similar" (past
    jobs), "bands" (stated and happened), "tried" (calibration slope and skill, with limits), "lists" (hits and waste of
    parts ordered beforehand).
    Raises QuestionError for a job, family or clue that is not on record.
    """
    request = read_request(history, options)
    if request is None:
        return _nothing(history, "Say what came in: no open job is on record; name a job or a unit family.")
    # Whatever is asked about, it rests on the same full strips, as known on that day.
    strips: Strips = history.warehouse.kept_large.get(("full strips", history.as_of), lambda: full_strips(history))
    if strips.jobs.height < MINIMUM_STRIPS:
        return _nothing(history, f"Too few to say ({strips.jobs.height} of {MINIMUM_STRIPS} full strips).")
    if request.arrival.family not in set(strips.jobs["family"].to_list()):
        return _nothing(history, f"Too few to say (0 of 1 full strips of {request.arrival.family}).")
    found = _worked_out(history, request, strips)
    clues = _clues(found)
    positions = _positions(found, clues)
    sentence, number, about = _sentence(found)
    return Answer(
        question="what-to-expect",
        as_of=history.as_of,
        warehouse_version=history.warehouse.version,
        filters=history.scope.filters(),
        sentence=sentence,
        number=number,
        number_about=about,
        method=METHOD,
        grain="one row per component position",
        rows=positions,
        columns=COLUMNS,
        notes=(*_narrowed(history, request), *_notes(found)),
        assumptions=_ledger(found),
        curves={
            "parts": found.parts, "clues": clues,
            "similar": similar_jobs(found.request, strips),
            "bands": found.tried.bands(), "tried": _came_true(found.tried), "lists": _lists(found.tried),
        },
    )  # fmt: skip


def _worked_out(history: History, request: Request, strips: Strips) -> _Found:
    itself = request.job if request.job in set(strips.jobs["job"].to_list()) else None
    asked = strips if itself is None else _without(strips, itself)  # a job that is on record tells nothing of itself
    kept, used = history.warehouse.kept, parts_used(history, strips.jobs)
    model = kept.get(("what-to-expect model", history.as_of, itself), lambda: fit(asked))
    arrival = request.arrival
    # What a job on record does not tell was not there; what a person does not name is not known.
    expected = expected_of(model, strips.jobs, arrival) if request.job is None else predict(model, arrival.row())
    parts = parts_expected(habits(asked.jobs, asked.looks, used), expected).drop("place")
    parts = parts.sort(["probability", "part"], descending=[True, False])
    # How earlier expectations came true is the same whatever is asked about, and most of the work.
    tried = kept.get(("what-to-expect backtest", history.as_of), lambda: backtest(strips, used, history.as_of))
    return _Found(request, asked, model, expected, parts, tried)


def _without(strips: Strips, job: str) -> Strips:
    kept = strips.jobs.with_row_index("old").filter(pl.col("job") != job).with_row_index("place")
    looks = strips.looks.rename({"place": "old"}).join(kept.select("old", "place"), on="old")
    return Strips(kept.drop("old", "place"), looks.drop("old").sort("place", "position"))


def _clues(found: _Found) -> pl.DataFrame:
    """Return the likelihood ratio of each clue that the unit shows, for each component of its family."""
    schema = {"component": pl.String, "clue": pl.String, **dict.fromkeys(
        ("ratio", "low", "high", "shrunk", "shrunk_low", "shrunk_high"), pl.Float64)}  # fmt: skip
    names = found.model.clues
    shows = set(clue_words(found.request.arrival.row())["clue"].to_list())
    matrix = clue_matrix(found.strips.jobs, names)
    by_job = found.strips.looks.group_by("place", "component").agg(pl.col("failed").any()).sort("component", "place")
    mine = set(found.expected["component"].to_list())
    rows = []
    for (component,), part in by_job.partition_by("component", as_dict=True, maintain_order=True).items():
        failed, place = part["failed"].to_numpy(), part["place"].to_numpy()
        if component not in mine or failed.sum() < MINIMUM_FAILED or (~failed).sum() < MINIMUM_FAILED or not names:
            continue
        shown = matrix[place]
        told = likelihood_ratios(
            shown[failed].sum(0), np.full(len(names), failed.sum()), shown[~failed].sum(0),
            np.full(len(names), (~failed).sum()),
        )  # fmt: skip
        values = (told.ratio, told.lower, told.upper, told.shrunk, told.shrunk_lower, told.shrunk_upper)
        rows += [(component, clue, *(float(x[i]) for x in values)) for i, clue in enumerate(names) if clue in shows]
    return pl.DataFrame(rows, schema=schema, orient="row").sort("component", "clue")


def _positions(found: _Found, clues: pl.DataFrame) -> pl.DataFrame:
    words = {}
    for (component,), part in clues.partition_by("component", as_dict=True).items():
        telling = part.filter((pl.col("shrunk") >= TELLING) | (pl.col("shrunk") <= 1 / TELLING))
        telling = telling.sort([pl.col("shrunk").log().abs(), pl.col("clue")], descending=[True, False])
        words[component] = "; ".join(
            f"{row['clue']} ({row['shrunk']:.1f})" for row in telling.head(MOST_CLUES).iter_rows(named=True)
        )
    told = found.expected.with_columns(
        (pl.col("probability") / pl.col("plain")).alias("times"),
        pl.col("component").replace_strict(words, default=None, return_dtype=pl.String).alias("clues"),
    ).with_columns(pl.when(pl.col("clues") != "").then("clues").alias("clues"))
    columns = ("position", "component", "probability", "low", "high", "plain", "times", "clues", "failed", "inspected")
    return told.select(columns).sort(["probability", "position"], descending=[True, False])


def similar_jobs(request: Request, strips: Strips) -> pl.DataFrame:
    """Return past full strips of the family that share most clues: job, shared (clues), opened, found (failed)."""
    schema = {"job": pl.String, "shared": pl.Int64, "of": pl.Int64, "opened": pl.Date, "found": pl.String}
    words = clue_words(request.arrival.row())["clue"].to_list()
    alike = strips.jobs.with_row_index("place").filter(
        (pl.col("family") == request.arrival.family) & (pl.col("job") != (request.job or ""))
    )
    if alike.is_empty():
        return pl.DataFrame(schema=schema)
    shared = (
        clue_words(strips.jobs)
        .filter(pl.col("clue").is_in(words))
        .group_by("place")
        .agg(pl.len().cast(pl.Int64).alias("shared"))
    )
    bad = strips.looks.filter("failed").group_by("place").agg(pl.col("position").sort().str.join(", ").alias("found"))
    told = alike.join(shared, on="place", how="left").join(bad, on="place", how="left").with_columns(
        pl.col("shared").fill_null(0), pl.lit(len(words), dtype=pl.Int64).alias("of"),
        pl.col("found").fill_null("nothing failed"),
    )  # fmt: skip
    told = told.sort(["shared", "opened", "job"], descending=[True, True, False]).head(MOST_SIMILAR)
    return told.select(list(schema))


def _sentence(found: _Found) -> tuple[str, str, str]:
    request = found.request
    whose = f"job {request.job} ({request.arrival.family})" if request.job else f"this {request.arrival.family}"
    told = found.expected.sort(["probability", "position"], descending=[True, False])
    top = told.row(0, named=True)
    others = [f"{row['position']} {percent(row['probability'], 0)}" for row in told.head(3).iter_rows(named=True)][1:]
    listed = found.parts.filter(pl.col("probability") >= ORDER_FROM)["part"].to_list()
    order = f" To have on the shelf: {', '.join(listed[:5])}{' ...' if len(listed) > 5 else ''}." if listed else ""
    sentence = (
        f"In {whose} expect the {top['position']} failed with {percent(top['probability'], 0)} "
        f"({between(top['low'], top['high'], 0)}; plain frequency of the family {percent(top['plain'], 0)}, from "
        f"{top['failed']} of {top['inspected']} strips), then {' and '.join(others)}.{order}"
    )
    return sentence, percent(top["probability"], 0), f"chance that the {top['position']} is found failed"


def _narrowed(history: History, request: Request) -> tuple[str, ...]:
    """Say that filters play no part, but for that of the family that is asked about."""
    idle = {name: value for name, value in history.scope.filters().items() if value != request.arrival.family}
    told = ", ".join(f"{name} {str(value).replace('_', ' ')}" for name, value in idle.items())
    return (f"All full strips count, whatever was narrowed down ({told}).",) if told else ()


def _notes(found: _Found) -> tuple[str, ...]:
    tried, notes = found.tried, list(found.request.notes)
    ready = found.parts.filter(pl.col("probability") >= NAMED_FROM).head(MOST_PARTS)
    if ready.height:
        told = [f"{part} {percent(chance, 0)}" for part, chance in ready.select("part", "probability").iter_rows()]
        notes.append(f"Parts and the chance that they are used: {', '.join(told)}.")
    alike = similar_jobs(found.request, found.strips).head(3)
    if alike.height:
        told = [
            f"{row['job']} ({row['shared']} of {row['of']} clues: {row['found']})"
            for row in alike.iter_rows(named=True)
        ]
        notes.append(f"Most alike of the past: {'; '.join(told)}.")
    slope, skill = tried.slope(), tried.skill()
    if isinstance(slope, TooFew) or isinstance(skill, TooFew):
        notes.append(f"Not tried on past jobs yet: {slope if isinstance(slope, TooFew) else skill}.")
    else:
        notes.append(
            f"Tried on {count_of(tried.jobs, 'past strip')}: calibration slope {slope.estimate:.2f} "
            f"({slope.lower:.2f} to {slope.upper:.2f}; 1 is right), squared error {percent(skill.estimate)} below that "
            f"of the plain frequency ({percent(skill.lower)} to {percent(skill.upper)})."
        )
    ours, plain = tried.lists
    if ours.listed and ours.needed:
        notes.append(
            f"Parts that are not replaced anyway, ordered at a chance of {percent(ORDER_FROM, 0)} or more: "
            f"{ours.hits:,} of {ours.needed:,} used would have lain ready ({ours.said()}); by plain frequency "
            f"{plain.said()}."
        )
    if found.request.job is None:
        notes.append("What is not told of the unit is taken as it was in past arrivals of its family that are like it.")
    notes.append("The clues speak of what is found in full strips; they are associations, not causes.")
    return tuple(notes)


def _came_true(tried: Backtest) -> pl.DataFrame:
    """Return how past expectations came true: measure (slope, 1 is right; skill above plain frequency), value, limits."""
    schema = {"measure": pl.String, **dict.fromkeys(("value", "low", "high"), pl.Float64)}
    told = (("calibration slope", tried.slope()), ("squared error below plain frequency", tried.skill()))
    rows = [(name, found.estimate, found.lower, found.upper) for name, found in told if not isinstance(found, TooFew)]
    return pl.DataFrame(rows, schema=schema, orient="row")


def _lists(tried: Backtest) -> pl.DataFrame:
    rows = [
        (name, made.hits, made.needed, made.listed, made.hit, made.waste)
        for name, made in zip(("by the clues", "by plain frequency"), tried.lists, strict=True)
    ]
    schema = {"list": pl.String, "hits": pl.Int64, "needed": pl.Int64, "listed": pl.Int64, "hit": pl.Float64,
              "waste": pl.Float64}  # fmt: skip
    return pl.DataFrame(rows, schema=schema, orient="row")


def _ledger(found: _Found) -> tuple[Assumption, ...]:
    looks, few = found.strips.looks, set(found.expected["component"].to_list()) - set(found.model.fits)
    own = found.strips.jobs.filter(pl.col("family") == found.request.arrival.family).height
    lines = [
        Assumption("Full strips learned from; of this family, and of others", own, found.strips.jobs.height - own),
        Assumption("Positions looked at, found failed and not", int(looks["failed"].sum()),
                   looks.height - int(looks["failed"].sum())),
        Assumption("Clues used; rarer ones are not", len(found.model.clues), None),
    ]  # fmt: skip
    if few:
        lines.append(
            Assumption(
                f"Components with fewer than {MINIMUM_FAILED} found failed keep the plain frequency: "
                + ", ".join(sorted(c.replace("_", " ") for c in few)),
                None, len(few),
            )
        )  # fmt: skip
    return tuple(lines)


def _nothing(history: History, sentence: str) -> Answer:
    return Answer(
        question="what-to-expect", as_of=history.as_of, warehouse_version=history.warehouse.version,
        filters=history.scope.filters(), sentence=sentence, method=METHOD, grain="one row per component position",
        rows=pl.DataFrame(schema={c.name: pl.String for c in COLUMNS}), columns=COLUMNS,
    )  # fmt: skip


COLUMNS = (
    Column("position", "Position"),
    Column("component", "Component"),
    Column("probability", "Found failed", "chance that it is found failed", "share"),
    Column("low", "from", "lower 95 % limit of the chance", "share"),
    Column("high", "to", "upper 95 % limit of the chance", "share"),
    Column("plain", "Plain frequency", "of the family, whatever the clues", "share"),
    Column("times", "Times plain", "chance over plain frequency", "factor"),
    Column("clues", "Clues (likelihood ratio)", "of the component; above 1 speaks for failed, below against"),
    Column("failed", "Failed so far", "in full strips of the family"),
    Column("inspected", "Inspected", "in full strips of the family"),
)


def _jobs_behind(history: History, row: Mapping[str, str]) -> pl.DataFrame:
    request = read_request(history, row)
    if request is None:
        return jobs_behind(history, "select job, '' as because from known_job where false", {})
    return jobs_behind(
        history,
        """select job, coalesce(replace(damage_mode, '_', ' '), 'failed') as because from known_component_finding
        where full_strip and failed and family = $family and position = $position""",
        {"family": request.arrival.family, "position": row["position"]},
    )


WHAT_TO_EXPECT = Question(
    name="what-to-expect",
    about="What we expect to find inside a unit from complaint, oil and usage, and the parts to have on the shelf",
    for_whom="lead technician",
    ask=what_to_expect,
    options=OPTIONS,
    jobs_behind=_jobs_behind,
)
