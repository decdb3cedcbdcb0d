"""Answer: by which distance is a component worn, and how surely do we know?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import polars as pl

from analytics.answer import Answer, Assumption, Column
from analytics.component_lives import (
    CAME_IN,
    ON_THE_ROAD,
    Lives,
    lives_on_the_road,
    lives_that_came_in,
    plural,
)
from analytics.history import History
from analytics.job_list import jobs_behind
from analytics.life_clock import CLOCK_OPTION, LifeClock, clock_of, told_by
from analytics.life_counts import counted_lives
from analytics.life_curves import curves_of
from analytics.life_groups import BEYOND, NONE_FAILED, OWN, SHARED, GroupLife, life_of_groups, longest, told_singly
from analytics.life_sensitivity import dependence, ledger_lines
from analytics.question import Option, Question
from analytics.scope import PRIVATE_OWNERS

GROUPS: dict[str, tuple[str, ...]] = {
    "position": ("family", "position", "component"),
    "component": ("component",),
    "family": ("family", "component"),
    "duty": ("component", "duty"),
    "supplier": ("component", "supplier"),
    "maker": ("component", "maker"),
    "fleet": ("component", "fleet"),
    "origin": ("component", "origin"),
}
ENOUGH_ON_THE_ROAD = 5  # worn on the road; with fewer a group is told among units that came in, if that holds more
METHOD = (
    "Worn: graded 3 or 4 (worn beyond limits or broken); the cause of the complaint counts from when it was noticed. "
    "Distance is the unit's own, since new or since the part was fitted here. Weibull and lognormal by maximum "
    "likelihood, weighted by how well each fits; 90 % profile-likelihood limits with the choice of model inside. A "
    "sound part renewed is cut off there; a part not seen again says nothing unless a register follows the unit."
)
NAMES = {ON_THE_ROAD: "On the road", CAME_IN: "Among units that came in"}


def component_life(history: History, options: Mapping[str, str]) -> Answer:
    """Return by which distance 1 in 10 and half of each component position (or group) are worn, with 90 % limits.

    With the option clock = hours, ages are running hours of units that carry an hour meter, and so is every "km" below.
    Rows: family, position, component, group, population (on the road, or among units that came in), lives and how
    many are exact, interval, left, right; worn; b10, b10_low, b10_high, median, median_low, median_high (km); model,
    its weight, spread (own or lent by the kind), longest (km seen), said. Curves, for the first row: "steps" (curve
    without a model), "fitted" (both models weighted, with limits), "paper" (Weibull axes), "models" (parameters),
    "excluded" (why lives were left out). Every life is one row of component_lives.
    """
    by, clock = options["by"], clock_of(options["clock"])
    told, excluded = _lives(history, options, by, clock)
    keys = ["population", *GROUPS[by]]
    groups = told.partition_by(keys, maintain_order=True, include_key=True) if told.height else []
    kinds = [f"{g['population'][0]}/{g['component'][0]}" for g in groups]
    lives = life_of_groups(groups, kinds)
    counts = _counts(told, keys)
    order = sorted(range(len(groups)), key=lambda i: _rank(lives[i], groups[i], keys))
    rows = pl.DataFrame([_row(groups[i], lives[i], by, counts) for i in order], schema=_SCHEMA)
    top = order[0] if order else None
    sentence, number, about = _sentence(rows, by, history)
    answer = Answer(
        question="component-life",
        as_of=history.as_of,
        warehouse_version=history.warehouse.version,
        filters=history.scope.filters(),
        sentence=sentence,
        number=number,
        number_about=about,
        method=METHOD,
        grain=f"one row per {' and '.join(GROUPS[by])}",
        rows=rows,
        columns=_COLUMNS,
        notes=_notes(rows),
        assumptions=_ledger(history, None if top is None else (groups[top], lives[top]), excluded, options, clock),
        curves={**curves_of(None if top is None else lives[top]), "excluded": excluded},
    )
    return told_by(clock, answer)


def _lives(
    history: History, options: Mapping[str, str], by: str, clock: LifeClock
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Return the lives to group, each group from the population that can tell of it, and what was left out."""
    parts = by in ("supplier", "maker")
    wanted, begun = options["population"], options["lives"]
    told: list[Lives] = []
    if wanted != "came_in":
        told.append(lives_on_the_road(history, parts, clock))
    counted = counted_lives(history, by, begun, clock) if wanted != "on_the_road" else None
    if counted is not None:
        told.append(counted)
    elif wanted != "on_the_road":
        told.append(lives_that_came_in(history, parts, clock))
    keys = list(GROUPS[by])
    frames = [lives.rows if lives is counted else _named(lives.rows, by, begun) for lives in told]
    excluded = pl.concat(
        [lives.excluded.select(pl.lit(lives.population).alias("population"), "reason", "left_out") for lives in told]
    )
    if wanted == "either" and frames[0].height:
        road, bench = frames
        enough = _worn(road, keys).filter(pl.col("worn") >= ENOUGH_ON_THE_ROAD)
        more = _worn(bench, keys).join(_worn(road, keys), on=keys, how="left", suffix="_road", nulls_equal=True)
        more = more.filter(pl.col("worn") > pl.col("worn_road").fill_null(-1)).join(
            enough, on=keys, how="anti", nulls_equal=True
        )
        frames = [
            road.join(more, on=keys, how="anti", nulls_equal=True),
            bench.join(more, on=keys, how="semi", nulls_equal=True),
        ]
    frames = [f for f in frames if f.height] or frames[:1]
    if any("count" in f.columns for f in frames):  # a row that was not counted stands for one life
        frames = [f if "count" in f.columns else f.with_columns(pl.lit(1.0).alias("count")) for f in frames]
    return pl.concat([f.select(c for c in f.columns if c in _KEPT) for f in frames], how="diagonal"), excluded


def _ledger(
    history: History,
    top: tuple[pl.DataFrame, GroupLife] | None,
    excluded: pl.DataFrame,
    options: Mapping[str, str],
    clock: LifeClock,
) -> tuple[Assumption, ...]:
    lines = ledger_lines(top, excluded)
    if options["dependence"] != "yes" or top is None or not told_singly(top[0]):
        return lines
    first = top[0]
    everywhere = history.within(replace(history.scope, component=None, position=None, supplier=None))
    build = lives_on_the_road if first["population"][0] == ON_THE_ROAD else lives_that_came_in
    alike = build(everywhere, clock=clock).rows.filter(pl.col("family").is_in(first["family"].unique().implode()))
    return (dependence(alike, first), *lines)


_KEPT = (
    "population", "unit_id", "job_id", "started_by", "origin", "family", "position", "component", "duty", "fleet",
    "supplier", "maker", "lower", "upper", "entry", "kind", "draws", "end_error",
    "estimated", "named_failed", "count",
)  # fmt: skip


def _worn(rows: pl.DataFrame, keys: list[str]) -> pl.DataFrame:
    worn = pl.col("upper").is_not_null()
    number = pl.col("count").filter(worn).sum().cast(pl.Int64) if "count" in rows.columns else worn.sum().cast(pl.Int64)
    return rows.group_by(keys).agg(number.alias("worn"))


def _named(rows: pl.DataFrame, by: str, begun: str) -> pl.DataFrame:
    if begun == "from_new":
        rows = rows.filter(pl.col("origin") == "from_new")
    elif begun == "fitted_here":
        rows = rows.filter(pl.col("origin") != "from_new")
    if by in ("supplier", "maker"):
        return rows.filter(pl.col(by).is_not_null())
    if by in ("duty", "fleet"):
        return rows.with_columns(pl.col(by).fill_null(PRIVATE_OWNERS if by == "fleet" else "not known"))
    return rows


def _rank(life: GroupLife, group: pl.DataFrame, keys: list[str]) -> tuple[float, float, tuple[str, ...]]:
    """Order by the upper limit of B10: what is surely worn first leads, small numbers do not."""
    high = life.quantiles[0].upper if life.quantiles and life.basis in (OWN, SHARED) else np.inf
    return (high, -life.observations.failed, tuple(str(group[k][0]) for k in keys))


def _counts(told: pl.DataFrame, keys: list[str]) -> dict[tuple[str | None, ...], dict[str, int]]:
    """Return how many lives of each kind every group holds."""
    number = pl.col("count").sum() if "count" in told.columns else pl.len()
    counts: dict[tuple[str | None, ...], dict[str, int]] = {}
    for *key, kind, lives in told.group_by(*keys, "kind").agg(number.cast(pl.Int64).alias("lives")).iter_rows():
        counts.setdefault(tuple(key), {})[kind] = lives
    return counts


def _row(
    group: pl.DataFrame, life: GroupLife, by: str, counts: Mapping[tuple[str | None, ...], Mapping[str, int]]
) -> dict[str, Any]:
    first = group.row(0, named=True)
    names = GROUPS[by]
    kinds = counts[tuple(first[name] for name in ("population", *names))]
    row: dict[str, Any] = {name: first[name] if name in names else None for name in ("family", "position", "component")}
    row["group"] = None if by in ("position", "component", "family") else first[by]
    row |= {"population": first["population"], "lives": sum(kinds.values())}
    row |= {kind: kinds.get(kind, 0) for kind in ("exact", "interval", "left", "right")}
    row["worn"] = row["lives"] - row["right"]
    seen = longest(life.observations)
    row["longest"] = seen
    if life.basis in (OWN, SHARED):
        for name, quantile in zip(("b10", "median"), life.quantiles, strict=True):
            if quantile.estimate <= BEYOND * seen:
                row |= {name: quantile.estimate, f"{name}_low": quantile.lower,
                        f"{name}_high": None if np.isinf(quantile.upper) else quantile.upper}  # fmt: skip
        row["spread"] = "its own" if life.basis == OWN else "lent by its kind"
    elif life.basis == NONE_FAILED:
        row["b10_low"] = life.quantiles[0].lower
    if life.estimate is not None:
        row |= {"model": life.estimate.best.model.name, "weight": max(life.estimate.weights),
                "shape": life.estimate.best.shape}  # fmt: skip
    elif life.spread is not None:
        row |= {"model": "Weibull", "weight": life.spread.weights[0], "shape": life.spread.shape}
    row["said"] = life.said or None
    return row


_SCHEMA: dict[str, type[pl.DataType]] = {
    "family": pl.String, "position": pl.String, "component": pl.String, "group": pl.String, "population": pl.String,
    "b10": pl.Float64, "b10_low": pl.Float64, "b10_high": pl.Float64, "median": pl.Float64, "median_low": pl.Float64,
    "median_high": pl.Float64, "worn": pl.Int64, "lives": pl.Int64, "exact": pl.Int64, "interval": pl.Int64,
    "left": pl.Int64, "right": pl.Int64, "longest": pl.Float64, "model": pl.String, "weight": pl.Float64,
    "shape": pl.Float64, "spread": pl.String, "said": pl.String,
}  # fmt: skip


def _sentence(rows: pl.DataFrame, by: str, history: History) -> tuple[str, str, str]:
    if rows.is_empty():
        return "No component life is known in this scope; what was left out stands below.", "", ""
    top = rows.row(0, named=True)
    name = _called(top, by, history)
    where = NAMES[top["population"]]
    count = f"from {top['lives']:,} lives, {top['worn']:,} of them worn"
    if top["b10"] is None and top["median"] is None:
        return f"{where}, {name}: {top['said'] or 'nothing is worn within the distances seen'} ({count}).", "", ""
    parts = []
    if top["median"] is not None:
        parts.append(f"half of {name} are worn by {_limits(top, 'median')}")
    if top["b10"] is not None:
        parts.append(f"1 in 10 {'' if parts else f'of {name} '}by {_limits(top, 'b10')} (B10)")
    number = f"{_rounded(top['b10'])} km" if top["b10"] is not None else f"{_rounded(top['median'])} km"
    what = "1 in 10" if top["b10"] is not None else "half"
    return (
        f"{where}, {' and '.join(parts)}, {count}.",
        number,
        f"by which {what} of {name} are worn, {top['population']}",
    )


def _called(row: Mapping[str, Any], by: str, history: History) -> str:
    component = plural(str(row["component"]))
    if by == "position":
        text = f"{plural(row['position'])} of {row['family']}"
    elif by == "family":
        text = f"{component} of {row['family']}"
    elif by == "duty":
        text = f"{component} in {str(row['group']).replace('_', ' ')} duty"
    elif row["group"] is not None:
        text = f"{component} ({by} {str(row['group']).replace('_', ' ')})"
    else:
        text = component
    duty = history.scope.duty
    return f"{text} in {duty.replace('_', ' ')} duty" if duty and by != "duty" else text


def _rounded(km: float) -> str:
    """Return a distance as people say it: three figures."""
    digits = 2 - int(np.floor(np.log10(max(km, 1e-9))))
    return f"{round(km, digits):,.{max(digits, 0)}f}"


def _limits(row: Mapping[str, Any], name: str) -> str:
    high = row[f"{name}_high"]
    return (
        f"{_rounded(row[name])} km ({_rounded(row[f'{name}_low'])} to "
        f"{_rounded(high) if high is not None else 'no upper limit'})"
    )


def _notes(rows: pl.DataFrame) -> tuple[str, ...]:
    notes = []
    if rows.height and (rows["population"] == CAME_IN).any():
        notes.append(
            "Rows 'among units that came in' speak of units that came because something was wrong, not of those on the "
            "road, which last longer: no register supplies the units that never came, so nothing is said of when the "
            "others are due."
        )
    if rows.height and (rows["spread"] == "lent by its kind").any():
        notes.append("Where fewer than 5 are worn, the spread of lives is lent by all places of that component.")
    if rows.height > 1:
        notes.append("Rows are ordered by the upper limit of B10: what is surely worn first leads.")
    if rows.height and rows.filter(pl.col("worn") > 0)["median"].null_count():
        notes.append(f"A distance more than {BEYOND:g} times the longest one seen is not given.")
    return tuple(notes)


_COLUMNS = (
    Column("family", "Family"),
    Column("position", "Position"),
    Column("component", "Component"),
    Column("group", "Group"),
    Column("population", "Speaks of", "on the road, or only among units that came in"),
    Column("b10", "1 in 10 worn by", "distance by which 1 in 10 is worn (B10)", "km"),
    Column("b10_low", "from", "lower 90 % limit", "km"),
    Column("b10_high", "to", "upper 90 % limit", "km"),
    Column("median", "Half worn by", "distance by which half are worn (median)", "km"),
    Column("median_low", "from", "lower 90 % limit", "km"),
    Column("median_high", "to", "upper 90 % limit", "km"),
    Column("worn", "Worn", "lives that ended worn"),
    Column("lives", "Lives", "component lives counted"),
    Column("exact", "Distance known", "worn at a distance that was written down"),
    Column("interval", "Between two", "worn between two known distances"),
    Column("left", "Worn by then", "found worn, never seen good before"),
    Column("right", "Not yet", "sound when last known"),
    Column("longest", "Longest seen", "longest distance at which one was seen", "km"),
    Column("model", "Model", "the one that fits better"),
    Column("weight", "Its weight", "share of the better model in the estimate", "share"),
    Column("shape", "Spread", "Weibull shape, or lognormal sigma"),
    Column("spread", "Spread from", "its own failures, or lent by all places of the component"),
    Column("said", "If too few"),
)


def _jobs_behind(history: History, row: Mapping[str, str]) -> pl.DataFrame:
    """Return the jobs that found a life of the row ended, worn ones told by when."""
    clock = clock_of(row.get("clock", "km"))
    names = [name for name in ("family", "position", "component") if row.get(name)]
    tests = " and ".join(["true", *[f"c.{name} = $row_{name}" for name in names]])
    values: dict[str, Any] = {f"row_{name}": row[name] for name in names}
    return jobs_behind(
        history,
        f"""
        select v.job, c.position || ' worn at ' || (l.age / {clock.per_unit})::bigint || ' {clock.unit}' as because
        from {clock.mart} as l
        join known_visit as v using (job_id)
        join known_position as c using (position_id)
        where l.why_not is null and l.superseded_on is null and l.state in ('cause', 'failed') and {tests}
        """,
        values,
    )


COMPONENT_LIFE = Question(
    name="component-life",
    about="By which distance each component is worn: 1 in 10 and half of them, on the road or among units that came in",
    for_whom="lead technician",
    ask=component_life,
    options=(
        Option("by", "what one row stands for", tuple(GROUPS), "position"),
        Option("population", "which units it speaks of", ("either", "on_the_road", "came_in"), "either"),
        Option("lives", "which lives are counted", ("all", "from_new", "fitted_here"), "all"),
        Option("dependence", "work out what parts of one unit faring alike would change", ("no", "yes"), "no"),
        CLOCK_OPTION,
    ),
    jobs_behind=_jobs_behind,
)
