"""Say what a life rests on, and how far it moves under the other rule."""

from __future__ import annotations

from collections.abc import Hashable

import numpy as np
import polars as pl

from analytics.answer import Assumption
from analytics.estimators.life_estimate import LifeEstimate, life_estimate
from analytics.estimators.life_frailty import FrailtySensitivity, frailty_sensitivity
from analytics.estimators.life_goodness import GoodnessOfFit, goodness_of_fit
from analytics.estimators.life_observations import LifeObservations, TooFewToSay
from analytics.life_curves import free_share
from analytics.life_groups import OWN, GroupLife, observations_of, told_singly

SHARED_FACTOR = 0.5  # variance of the unseen factor that makes a unit's components fare alike: a strong one


def ledger_lines(top: tuple[pl.DataFrame, GroupLife] | None, excluded: pl.DataFrame) -> tuple[Assumption, ...]:
    """Return the ledger: the first row's sensitivities, then every reason for which looks or lives were left out."""
    lines = [] if top is None else _of_first(*top)
    lines += [
        Assumption(f"Left out ({population}): {reason}", None, number)
        for population, reason, number in excluded.iter_rows()
    ]
    return tuple(lines)


def dependence(neighbours: pl.DataFrame, first: pl.DataFrame) -> Assumption:
    """Return how far B10 of the first row moves if all components of a unit share an unseen factor.

    neighbours: lives of the same families, columns as component_lives.Lives; those of the first row are one kind and
    all others together a second, each with a scale and shape of its own.
    """
    mine = first.select("unit_id", "position", pl.lit(0).alias("which")).unique()
    rows = neighbours.filter(pl.col("unit_id").is_in(first["unit_id"].unique().implode()))
    rows = rows.join(mine, on=["unit_id", "position"], how="left", maintain_order="left").with_columns(
        pl.col("which").fill_null(1)
    )
    observations = observations_of(rows)
    ages = np.where(np.isfinite(observations.upper), observations.upper, observations.lower)
    unit = float(np.median(ages)) or 1.0  # the search for the maximum is steadier on ages near 1
    scaled = LifeObservations(
        observations.lower / unit, observations.upper / unit, observations.count, observations.entry / unit
    )
    labels: list[Hashable] = rows["unit_id"].to_list()
    found = frailty_sensitivity(scaled, labels, rows["which"].to_numpy(), (0.0, SHARED_FACTOR))
    rule = "Components of one unit fail independently of one another, given its duty and family"
    other = f"an unseen factor of variance {SHARED_FACTOR:g} shared by all components of a unit"
    if isinstance(found, TooFewToSay) or not np.isfinite(found.quantile).all():
        return Assumption(rule, rows["unit_id"].n_unique(), None, other, "could not be worked out on these lives")
    return Assumption(rule, rows["unit_id"].n_unique(), None, other, _moved(found, unit))


def _moved(found: FrailtySensitivity, unit: float) -> str:
    before, after = (float(found.quantile[i, 0]) * unit for i in range(2))
    likelier = "likelier" if found.log_likelihood[1] > found.log_likelihood[0] else "less likely"
    return f"B10 {before:,.0f} km becomes {after:,.0f} km ({likelier} than independence on these lives)"


def _of_first(rows: pl.DataFrame, life: GroupLife) -> list[Assumption]:
    if life.basis != OWN or not told_singly(rows):
        return []
    lines = [
        _line(
            "First row, worn: grade 3 or 4", rows, life, int(rows["named_failed"].sum()),
            "what was called the cause or failed counts as worn whatever its grade", _named_as_worn(rows),
        ),
        _line(
            "First row: estimated distances count as read ones", rows, life, 0,
            "lives with an estimated distance are left out", rows.filter(~pl.col("estimated")),
        ),
        _line(
            "First row: lives from new and of parts fitted here together", rows, life, 0,
            "lives from new only", rows.filter(pl.col("origin") == "from_new"),
        ),
    ]  # fmt: skip
    lines.append(
        Assumption(
            "First row: limits allow for several lives of one unit and for distances that were imputed: the variance "
            f"is {life.inflation:.2f} times that of independent lives of known distance",
            rows["unit_id"].n_unique(),
        )
    )
    lines.append(_fit(life))
    return lines


def _line(
    rule: str, rows: pl.DataFrame, life: GroupLife, left_out: int, alternative: str, other: pl.DataFrame
) -> Assumption:
    assert life.estimate is not None
    moves = "changes nothing here"
    if other.height != rows.height or not other.select("lower", "upper").equals(rows.select("lower", "upper")):
        found = life_estimate(observations_of(other), (0.1,))
        before = life.estimate.quantiles[0].estimate
        moves = (
            f"B10 {before:,.0f} km becomes {found.quantiles[0].estimate:,.0f} km"
            if isinstance(found, LifeEstimate)
            else str(found)
        )
    return Assumption(rule, rows.height, left_out, alternative, moves)


def _named_as_worn(rows: pl.DataFrame) -> pl.DataFrame:
    """Return the lives with those that were named the cause or failed, though graded within limits, as worn."""
    named = pl.col("named_failed") & pl.col("upper").is_null() & (pl.col("lower") > 0)
    return rows.with_columns(
        pl.when(named).then("lower").otherwise("upper").alias("upper"),
        pl.when(named).then("entry").otherwise("lower").alias("lower"),
    )


def _fit(life: GroupLife) -> Assumption:
    """Return how well the better model describes the lives: a test where the looks allow one, else the widest gap."""
    assert life.estimate is not None
    best = life.estimate.best
    rows = life.observations
    by_looks = bool((np.isinf(rows.upper) | (rows.lower == 0)).all()) and not rows.entry.any()
    tested = goodness_of_fit(rows, best.model) if by_looks else None
    rule = f"First row: {best.model.name} and the other model weighted {max(life.estimate.weights):.0%} to the rest"
    if isinstance(tested, GoodnessOfFit):
        return Assumption(
            rule, None, None, "no model at all",
            f"the {best.model.name} line fits: p {tested.p_value:.2f} by {tested.draws} draws from it",
        )  # fmt: skip
    gaps = []
    for quantile in life.estimate.quantiles:
        seen = free_share(life, quantile.estimate)
        if seen is not None:
            gaps.append(f"{seen:.0%} instead of {quantile.share:.0%} worn by {quantile.estimate:,.0f} km")
    return Assumption(rule, None, None, "the curve without a model", "; ".join(gaps) or None)
