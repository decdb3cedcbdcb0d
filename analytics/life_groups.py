"""Estimate the life of each group of component lives, with its limits and what they rest on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import polars as pl

from analytics.estimators.life_estimate import LifeEstimate, LifeQuantile, life_estimates, life_middles
from analytics.estimators.life_given_spread import CommonSpread, common_spread, lives_given_spread
from analytics.estimators.life_no_failures import lower_life
from analytics.estimators.life_observations import LifeObservations, TooFewToSay
from analytics.estimators.life_unit_scores import unit_inflation

SHARES = (0.1, 0.5)
LEVEL = 0.9
USUAL_SHAPE = 2.0  # stated where none has failed and no kind lends its spread: wear-out, not early failure
NEAR_ONE = 1.05  # limits are widened by the root of a smaller factor; a larger one is worked through the likelihood
CERTAIN_ENOUGH = 0.01  # relative error of imputed ends below which imputing again changes nothing in print
BEYOND = 2.0  # a quantile further out than this many times the longest distance seen is not given
_Z = 1.6448536269514722

OWN, SHARED, NONE_FAILED, TOO_FEW = "own", "shared", "none failed", "too few"


@dataclass(frozen=True)
class GroupLife:
    """Hold one group's life.

    quantiles: B10 and median with limits, none where there is too little; basis: own, shared (its spread is that of
    its kind), none failed (a lower limit only) or too few; said: the sentence where no estimate is given, or what the
    estimate rests on; inflation: the factor on variances for lives of one unit and for imputed distances together.
    """

    observations: LifeObservations
    quantiles: tuple[LifeQuantile, ...]
    basis: str
    said: str
    estimate: LifeEstimate | None
    spread: CommonSpread | None
    inflation: float


def observations_of(rows: pl.DataFrame, draw: int | None = None) -> LifeObservations:
    """Return a frame of lives as observations in km; `draw` takes that one of the drawn ends where it was imputed."""
    lower = rows["lower"]
    if draw is not None:
        lower = rows.select(pl.coalesce(pl.col("draws").list.get(draw, null_on_oob=True), "lower")).to_series()
    low = np.maximum(lower.to_numpy(), rows["entry"].to_numpy() if draw is not None else 0.0)
    upper = rows["upper"].to_numpy()  # not a number where it has not failed
    count = rows["count"].to_numpy() if "count" in rows.columns else None
    return LifeObservations(low, np.where(np.isnan(upper), np.inf, upper), count, rows["entry"].to_numpy())


def life_of_groups(groups: Sequence[pl.DataFrame], kinds: Sequence[str]) -> list[GroupLife]:
    """Return the life of each group of lives, in the order given; `kinds` names the component that lends its spread."""
    sets = [observations_of(group) for group in groups]
    first = life_estimates(sets, SHARES, LEVEL)
    factors = [_factor(group, rows, found) for group, rows, found in zip(groups, sets, first, strict=True)]
    again = [i for i, factor in enumerate(factors) if factor > NEAR_ONE and isinstance(first[i], LifeEstimate)]
    second = dict(
        zip(again, life_estimates([sets[i] for i in again], SHARES, LEVEL, [factors[i] for i in again]), strict=True)
    )
    lives: list[GroupLife] = []
    for i, rows in enumerate(sets):
        found = second.get(i, first[i])
        if isinstance(found, LifeEstimate):
            left = 1.0 if i in second else float(np.sqrt(factors[i]))
            quantiles = tuple(_widened(q, left) for q in found.quantiles)
            lives.append(GroupLife(rows, quantiles, OWN, "", found, None, factors[i]))
        else:
            lives.append(GroupLife(rows, (), TOO_FEW, str(found), None, None, 1.0))
    return _lent(lives, kinds)


def _lent(lives: list[GroupLife], kinds: Sequence[str]) -> list[GroupLife]:
    """Lend groups with few or no failures the spread of their kind, and say so."""
    lent = list(lives)
    names = np.array(kinds)
    for kind in sorted({k for k, life in zip(kinds, lives, strict=True) if life.basis == TOO_FEW}):
        mine = np.flatnonzero(names == kind)
        needy = [i for i in mine if lives[i].basis == TOO_FEW]
        spread = common_spread([lives[i].observations for i in mine])
        few = [i for i in needy if lives[i].observations.failed and _has_sound(lives[i].observations)]
        if isinstance(spread, CommonSpread):
            told = lives_given_spread([lives[i].observations for i in few], spread, SHARES, LEVEL)
            for i, quantiles in zip(few, told, strict=True):
                said = (
                    f"{lives[i].observations.failed:g} worn: the spread of lives is lent by {spread.families} places "
                    f"of this component ({spread.failures:g} worn)"
                )
                lent[i] = replace(lives[i], quantiles=quantiles, basis=SHARED, said=said, spread=spread)
        for i in needy:
            if not lives[i].observations.failed:
                lent[i] = _none_failed(lives[i], spread if isinstance(spread, CommonSpread) else None)
    return lent


def _none_failed(life: GroupLife, spread: CommonSpread | None) -> GroupLife:
    shape = round(spread.shape, 2) if spread else USUAL_SHAPE
    limit = lower_life(life.observations, SHARES[0], shape)
    if isinstance(limit, TooFewToSay):
        return replace(life, said=str(limit))
    where = "lent by its kind" if spread else "stated, not estimated"
    said = (
        f"none of {life.observations.total:g} worn: 1 in 10 is worn only after {limit.lower:,.0f} km or later "
        f"(95 %, with a Weibull shape of {shape:g}, {where})"
    )
    return replace(
        life, basis=NONE_FAILED, said=said, quantiles=(LifeQuantile(SHARES[0], np.nan, limit.lower, np.inf),)
    )


def _has_sound(rows: LifeObservations) -> bool:
    return bool((np.maximum(rows.lower, rows.entry) > 0)[rows.count > 0].any())


def _factor(group: pl.DataFrame, rows: LifeObservations, found: LifeEstimate | TooFewToSay) -> float:
    """Return by how much the variance of log B10 grows for lives of one unit and for distances that were imputed."""
    if not isinstance(found, LifeEstimate) or not told_singly(group):
        return 1.0
    factor = 1.0
    if group["unit_id"].n_unique() < group.height:
        factor = unit_inflation(rows, group["unit_id"].to_numpy(), found.best)
    return factor + _imputed(group, found)


def _imputed(group: pl.DataFrame, found: LifeEstimate) -> float:
    """Return the variance of log B10 between draws of imputed ends (Rubin 1987), over the variance within."""
    error = group["end_error"].drop_nulls().to_numpy()
    if not len(error) or float(np.sqrt(np.mean(error**2))) < CERTAIN_ENOUGH:
        return 0.0
    number = int(group["draws"].list.len().max() or 0)  # type: ignore[arg-type]
    sets = [observations_of(group, draw) for draw in range(number)]
    told = [middle for middle in life_middles(sets, SHARES[0]) if middle is not None]
    within = _log_width(found.quantiles[0])
    if len(told) < 2 or not np.isfinite(within) or within <= 0:
        return 0.0
    return float(np.var(np.log(told), ddof=1) * (1 + 1 / len(told)) / within**2)


def _log_width(quantile: LifeQuantile) -> float:
    """Return the standard error of the log quantile that its limits amount to; infinite where one is open."""
    if quantile.lower <= 0 or np.isinf(quantile.upper):
        return float("inf")
    return float(np.log(quantile.upper / quantile.lower) / (2 * _Z))


def _widened(quantile: LifeQuantile, factor: float) -> LifeQuantile:
    if factor == 1.0:
        return quantile
    with np.errstate(divide="ignore"):
        low, middle, high = np.log([quantile.lower, quantile.estimate, quantile.upper])
    return LifeQuantile(
        quantile.share,
        quantile.estimate,
        float(np.exp(middle - factor * (middle - low))),
        float(np.exp(middle + factor * (high - middle))),
    )


def told_singly(lives: pl.DataFrame) -> bool:
    """Return whether every life of a frame stands in a row of its own, with its unit, and none was counted in a bin."""
    return "unit_id" in lives.columns and not lives["unit_id"].null_count()


def longest(rows: LifeObservations) -> float:
    """Return the longest distance at which any life of a group was seen, failed or not."""
    ages: npt.NDArray[np.float64] = np.where(np.isfinite(rows.upper), rows.upper, rows.lower)[rows.count > 0]
    return float(ages.max(initial=0.0))
