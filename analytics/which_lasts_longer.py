"""Answer: which supplier's, maker's, duty's or family's components last longer, at equal duty and family?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from analytics.answer import Answer, Assumption, Column
from analytics.component_lives import CAME_IN, ON_THE_ROAD, lives_on_the_road, plural, rows_that_came_in
from analytics.estimators.life_comparison import LifeRatio, compare_lives
from analytics.estimators.life_observations import LifeObservations, binned
from analytics.estimators.multiple_testing import benjamini_hochberg
from analytics.history import History
from analytics.job_list import jobs_behind
from analytics.life_clock import CLOCK_OPTION, KM, LifeClock, clock_of, told_by
from analytics.life_counts import WIDE
from analytics.life_groups import observations_of
from analytics.measured_wear import measured_wear
from analytics.question import Option, Question

LEVEL = 0.9
SURE = 0.1  # false discovery rate below which a difference is named
FEWEST_WORN = 5  # in the group and among the others
LEVEL_NEEDS = 3  # worn and not worn, for a family or duty to be adjusted for by itself
MANY = 500  # lives above which ages are rounded, so that equal ones need not be looked at singly
ROUND_TO = 0.01
VERY_MANY = 20_000  # lives above which those that ended between two looks are binned as wide as where they are counted
ADJUSTED = {
    "supplier": ("family", "duty"),
    "maker": ("family", "duty"),
    "duty": ("family", "fitted"),
    "family": ("duty", "fitted"),
    "mate": ("family", "duty"),
}
METHOD = (
    "How many times as far lives last in one group as in the others of the same component, at equal family and duty: "
    "accelerated life, Weibull and lognormal weighted by how well each fits, 90 % profile-likelihood limits; p "
    "adjusted for every comparison of the table (Benjamini-Hochberg). An association: what drove the choice of a "
    "supplier or a duty may differ in ways not written down."
)


@dataclass(frozen=True)
class _Look:
    component: str
    group: str
    others: str
    population: str
    rows: pl.DataFrame
    inside: npt.NDArray[np.float64]


def which_lasts_longer(history: History, options: Mapping[str, str]) -> Answer:
    """Return how many times longer lives last in each group than in the others of the same component.

    Rows: component, group, others, population, ratio, low, high (90 %), p, p_adjusted, worn, lives (of the group),
    other_worn, other_lives, said. Groups by supplier, maker, duty, family, or whether the mate (the slider of a ring,
    the other bearing) was renewed with it. Curve "wear": measured ring gap and end float against distance.
    """
    by, clock = options["by"], clock_of(options["clock"])
    looks = _looks(history, by, options["population"], clock)
    found = [_compare(look, by) for look in looks]
    told = [r for r in found if isinstance(r, LifeRatio)]
    adjusted = iter(benjamini_hochberg([r.p_value for r in told]))
    rows = pl.DataFrame(
        [
            _row(look, ratio, float(next(adjusted)) if isinstance(ratio, LifeRatio) else None)
            for look, ratio in zip(looks, found, strict=True)
        ],
        schema=_SCHEMA,
    ).sort("p_adjusted", "p", "component", "group", nulls_last=True)
    wear = measured_wear(history) if clock is KM else measured_wear(history).clear()
    sentence, number, about = _sentence(rows, by)
    answer = Answer(
        question="which-lasts-longer",
        as_of=history.as_of,
        warehouse_version=history.warehouse.version,
        filters=history.scope.filters(),
        sentence=sentence,
        number=number,
        number_about=about,
        method=METHOD,
        grain=f"one row per component and {by}, against the others of that component",
        rows=rows,
        columns=_COLUMNS,
        notes=_notes(rows, wear),
        assumptions=(
            Assumption(
                f"Looked at: every {by} of every component with {FEWEST_WORN} worn in it and among the others",
                len(told), len(found) - len(told),
            ),
            Assumption(
                f"Adjusted for {' and '.join(ADJUSTED[by])}: levels with {LEVEL_NEEDS} worn and {LEVEL_NEEDS} not"
            ),
        ),
        curves={"wear": wear},
    )  # fmt: skip
    return told_by(clock, answer)


def _looks(history: History, by: str, population: str, clock: LifeClock) -> list[_Look]:
    """Return every comparison of the stated family: a group against the others of its component."""
    parts = by in ("supplier", "maker")
    frames: dict[str, pl.DataFrame] = {}
    if population != "came_in":
        frames[ON_THE_ROAD] = _grouped(history, lives_on_the_road(history, parts, clock).rows, by)
    if population != "on_the_road":
        frames[CAME_IN] = _grouped(history, rows_that_came_in(history, parts, clock), by)
    components = sorted({c for frame in frames.values() for c in frame["component"].unique().to_list()})
    looks: list[_Look] = []
    for component in components:
        best = max(frames, key=lambda name: (_comparable(frames[name], component), name == ON_THE_ROAD))
        rows = frames[best].filter(pl.col("component") == component)
        groups = rows["compared"].unique().sort().to_list()
        if len(groups) < 2:
            continue
        shown = groups if len(groups) > 2 else groups[:1]  # of two groups one comparison tells all
        for group in shown:
            others = groups[1] if len(groups) == 2 else "the others"
            inside = (rows["compared"] == group).to_numpy().astype(float)
            looks.append(_Look(component, group, others, best, rows, inside))
    return looks


def _comparable(rows: pl.DataFrame, component: str) -> int:
    """Return how many worn lives the second best group has, at most 20: beyond that the road is the better place."""
    worn = rows.filter((pl.col("component") == component) & pl.col("upper").is_not_null())
    counts = worn.group_by("compared").len()["len"].sort(descending=True).to_list()
    return min(int(counts[1]), 20) if len(counts) > 1 else 0


def _grouped(history: History, rows: pl.DataFrame, by: str) -> pl.DataFrame:
    """Return lives with the group they are compared by; lives of no known group take no part."""
    rows = rows.with_columns(
        pl.when(pl.col("origin") == "from_new")
        .then(pl.lit("from new"))
        .otherwise(pl.lit("fitted here"))
        .alias("fitted")
    )
    if by == "mate":
        rows = rows.join(_mates(history), on=["started_by", "family", "position"], how="left", maintain_order="left")
        rows = rows.with_columns(
            pl.when("mate_renewed").then(pl.lit("mate renewed")).when(~pl.col("mate_renewed"))
            .then(pl.lit("mate reused")).alias("compared")
        )  # fmt: skip
    else:
        rows = rows.with_columns(pl.col(by).alias("compared"))
    return rows.filter(pl.col("compared").is_not_null())


def _mates(history: History) -> pl.DataFrame:
    """Return whether the mate of a part was renewed in the job that fitted the part."""
    return history.query(
        """
        select l.job_id as started_by, c.family, c.position, bool_or(m.renews is not null) as mate_renewed
        from known_life_inspection as l
        join known_position as c using (position_id)
        join known_position as d on d.family = c.family and (d.position = c.mate or d.mate = c.position)
        join known_life_inspection as m on m.job_id = l.job_id and m.position_id = d.position_id
        where l.renews is not null
        group by all order by all
        """
    )


def _compare(look: _Look, by: str) -> LifeRatio | str:
    worn = look.rows["upper"].is_not_null().to_numpy()
    inside, others = float(worn @ look.inside), float(worn @ (1 - look.inside))
    if min(inside, others) < FEWEST_WORN:
        return f"too few to say ({inside:.0f} and {others:.0f} worn; {FEWEST_WORN} of each are needed)"
    observations, columns = _distinct(look.rows, [look.inside, *_adjusting(look, ADJUSTED[by])])
    found = compare_lives(observations, columns[:, 0], columns[:, 1:] if columns.shape[1] > 1 else None, LEVEL)
    return found if isinstance(found, LifeRatio) else str(found)


def _distinct(
    rows: pl.DataFrame, columns: list[npt.NDArray[np.float64]]
) -> tuple[LifeObservations, npt.NDArray[np.float64]]:
    """Return the distinct lives with their counts and covariates; of many, ages are first rounded to 1 % or binned."""
    found = observations_of(rows)
    if rows.height > VERY_MANY:
        return _binned(found, np.column_stack(columns))
    lower, upper, entry = found.lower, found.upper, found.entry
    if rows.height > MANY:
        lower, upper, entry = (_rounded(age) for age in (lower, upper, entry))
        upper = np.where((entry > 0) & (upper <= entry), entry * (1 + ROUND_TO), upper)
    table, count = np.unique(np.column_stack([lower, upper, entry, *columns]), axis=0, return_counts=True)
    return LifeObservations(table[:, 0], table[:, 1], count.astype(float), table[:, 2]), table[:, 3:]


def _binned(
    found: LifeObservations, covariates: npt.NDArray[np.float64]
) -> tuple[LifeObservations, npt.NDArray[np.float64]]:
    """Return lives of equal covariates in bins of 1 %, or WIDE where they ended between two looks, at their mean log age."""
    bits = np.packbits(covariates != 0, axis=1)  # every covariate is nought or one
    _, first, place = np.unique(bits, axis=0, return_index=True, return_inverse=True)
    kinds = covariates[first]
    between = (found.lower > 0) & (found.lower < found.upper) & np.isfinite(found.upper)
    parts, repeats = [], []
    for kind in range(len(kinds)):
        for these, ratio in ((~between, ROUND_TO), (between, WIDE)):
            mine = np.flatnonzero((place == kind) & these)
            part = binned(LifeObservations(found.lower[mine], found.upper[mine], None, found.entry[mine]), ratio)
            parts.append(part)
            repeats.append(np.tile(kinds[kind], (len(part.lower), 1)))
    lower, upper, count, entry = (
        np.concatenate([getattr(p, c) for p in parts]) for c in ("lower", "upper", "count", "entry")
    )
    return LifeObservations(lower, upper, count, entry), np.concatenate(repeats)


def _rounded(age: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    inner = np.isfinite(age) & (age > 0)
    return np.where(inner, np.exp(np.round(np.log(np.where(inner, age, 1.0)) / ROUND_TO) * ROUND_TO), age)


def _adjusting(look: _Look, names: tuple[str, ...]) -> list[npt.NDArray[np.float64]]:
    """Return indicator columns of the levels that can be told by themselves; the rest stand together.

    A column that the others already tell is left out, since a family may be run in one duty only.
    """
    kept = [np.ones(look.rows.height), look.inside]
    for name in names:
        table = (
            look.rows.group_by(name)
            .agg(pl.len().alias("lives"), pl.col("upper").count().alias("worn"))
            .filter((pl.col("worn") >= LEVEL_NEEDS) & (pl.col("lives") - pl.col("worn") >= LEVEL_NEEDS))
            .sort(["lives", name], descending=[True, False], nulls_last=True)
        )
        levels = table[name].drop_nulls().to_list()
        for level in levels[1:] if len(levels) == look.rows[name].n_unique() else levels:
            column = (look.rows[name] == level).fill_null(value=False).to_numpy().astype(float)
            if _independent([*kept, column]):
                kept.append(column)
    return kept[2:]


def _independent(columns: list[npt.NDArray[np.float64]]) -> bool:
    """Return whether no column of noughts and ones is told by the others, by the rank of their common counts."""
    matrix = np.column_stack(columns)
    return bool(np.linalg.matrix_rank(matrix.T @ matrix, tol=1e-6, hermitian=True) == len(columns))


def _row(look: _Look, found: LifeRatio | str, adjusted: float | None) -> dict[str, Any]:
    worn = look.rows["upper"].is_not_null().to_numpy()
    inside = int(look.inside.sum())
    row: dict[str, Any] = {
        "component": look.component, "group": look.group, "others": look.others, "population": look.population,
        "worn": int(worn @ look.inside), "lives": inside, "other_worn": int(worn @ (1 - look.inside)),
        "other_lives": look.rows.height - inside,
    }  # fmt: skip
    if isinstance(found, str):
        return row | {"said": found}
    return row | {
        "ratio": found.ratio, "low": found.lower, "high": None if np.isinf(found.upper) else found.upper,
        "p": found.p_value, "p_adjusted": adjusted,
    }  # fmt: skip


_SCHEMA: dict[str, type[pl.DataType]] = {
    "component": pl.String, "group": pl.String, "others": pl.String, "population": pl.String, "ratio": pl.Float64,
    "low": pl.Float64, "high": pl.Float64, "p": pl.Float64, "p_adjusted": pl.Float64, "worn": pl.Int64,
    "lives": pl.Int64, "other_worn": pl.Int64, "other_lives": pl.Int64, "said": pl.String,
}  # fmt: skip


def _sentence(rows: pl.DataFrame, by: str) -> tuple[str, str, str]:
    told = rows.filter(pl.col("p_adjusted").is_not_null())
    if told.is_empty():
        return f"Too few are worn to compare any {by} with the others ({rows.height} comparisons looked at).", "", ""
    sure = told.filter(pl.col("p_adjusted") <= SURE)
    if sure.is_empty():
        return (
            f"No {by} is shown to last longer or shorter than the others, {told.height} comparisons looked at.", "", ""
        )  # fmt: skip
    top = sure.row(0, named=True)
    component = plural(top["component"])
    shorter = top["ratio"] < 1
    high = f"{top['high']:.2f}" if top["high"] is not None else "no upper limit"
    group = str(top["group"]).replace("_", " ")
    what = {"mate": f"with the {group}", "duty": f"in {group} duty"}.get(by, f"of {by} {group}")
    sentence = (
        f"{component[0].upper()}{component[1:]} {what} last {'less long' if shorter else 'longer'} than those of "
        f"{str(top['others']).replace('_', ' ')}: {top['ratio']:.2f} times as far ({top['low']:.2f} to {high}), "
        f"{top['population']}, at equal {' and '.join(ADJUSTED[by])}; an association. {sure.height} of {told.height} "
        "comparisons hold up when all are allowed for."
    )
    return sentence, f"{top['ratio']:.2f} times", f"as far as the others: {component} {what}"


def _notes(rows: pl.DataFrame, wear: pl.DataFrame) -> tuple[str, ...]:
    notes = [
        f"{plural(row['component'])} of {row['family']}: {row['quantity'].replace('_', ' ')} moves by "
        f"{row['per_10000_km_um'] / 1000:+.3f} mm a 10,000 km ({row['low_um'] / 1000:+.3f} to "
        f"{row['high_um'] / 1000:+.3f}; {row['readings']} readings of {row['units']} units that came in)".replace(
            "_", " "
        )
        for row in wear.sort("readings", descending=True).head(3).iter_rows(named=True)
    ]
    if rows.height and (rows["population"] == CAME_IN).any():
        notes.append("Rows 'among units that came in' compare units that came because something was wrong.")
    return tuple(notes)


_COLUMNS = (
    Column("component", "Component"),
    Column("group", "Group"),
    Column("others", "Against"),
    Column("population", "Speaks of", "on the road, or only among units that came in"),
    Column("ratio", "Times as far", "how many times as far its lives last as the others'", "factor"),
    Column("low", "from", "lower 90 % limit", "factor"),
    Column("high", "to", "upper 90 % limit", "factor"),
    Column("p_adjusted", "p, all looks", "for no difference, adjusted for every comparison of the table"),
    Column("p", "p", "for no difference, this comparison alone"),
    Column("worn", "Worn", "lives of the group that ended worn"),
    Column("lives", "Lives", "lives of the group"),
    Column("other_worn", "Others worn"),
    Column("other_lives", "Others"),
    Column("said", "If too few"),
)


def _jobs_behind(history: History, row: Mapping[str, str]) -> pl.DataFrame:
    clock = clock_of(row.get("clock", "km"))
    values: dict[str, Any] = {"component": row.get("component", "")}
    tests = ["c.component = $component"] if row.get("component") else ["true or $component = ''"]
    group = row.get("group")
    by = row.get("by", "")
    if group and by in ("duty", "family"):
        tests.append(f"{'v.duty' if by == 'duty' else 'c.family'} = $of_group")
        values["of_group"] = group
    elif group and by in ("supplier", "maker"):
        tests.append(f"p.{by} = $of_group")
        values["of_group"] = group
    return jobs_behind(
        history,
        f"""
        select v.job, c.position || ' worn at ' || (l.age / {clock.per_unit})::bigint || ' {clock.unit}'
          || coalesce(', from ' || p.supplier, '') as because
        from {clock.mart} as l
        join known_visit as v using (job_id)
        join known_position as c using (position_id)
        left join known_part_before as p on p.job_id = l.job_id and p.position_id = l.position_id
        where l.why_not is null and l.superseded_on is null and l.state in ('cause', 'failed')
          and {" and ".join(tests)}
        """,
        values,
    )


WHICH_LASTS_LONGER = Question(
    name="which-lasts-longer",
    about="Whose parts last longer, and in which duty or family: times as far as the others, corrected for all looks",
    for_whom="lead technician",
    ask=which_lasts_longer,
    options=(
        Option("by", "what is compared", tuple(ADJUSTED), "maker"),
        Option("population", "which units it speaks of", ("either", "on_the_road", "came_in"), "either"),
        CLOCK_OPTION,
    ),
    jobs_behind=_jobs_behind,
)
