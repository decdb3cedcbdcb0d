"""How much wider limits must be when several component lives belong to one unit and so fare alike."""

from __future__ import annotations

from collections.abc import Hashable, Sequence

import numpy as np

from analytics.estimators.life_fit import maximise, no_interior_maximum
from analytics.estimators.life_likelihood import likelihood_terms, log_likelihood, stacked
from analytics.estimators.life_models import WEIBULL, LifeModel
from analytics.estimators.life_observations import LifeObservations, TooFewToSay


def cluster_inflation(
    observations: LifeObservations, unit: Sequence[Hashable], share: float = 0.1, model: LifeModel = WEIBULL
) -> float | TooFewToSay:
    """Return how much larger the variance of a log quantile is when rows of one unit may depend on one another.

    Shapes: unit, one label a row of the observations. Below 1 is given as 1. The estimate itself needs no change as
    long as inspections do not depend on the other positions' lives. Method: sandwich variance with scores summed by
    unit, times units / (units - 1). Source: Chandler & Bate 2007, "Inference for clustered data using the independence
    loglikelihood", Biometrika 94.
    """
    if len(unit) != len(observations.lower):
        raise ValueError(f"unit needs one label for each of the {len(observations.lower)} observations")
    reason = no_interior_maximum(observations)
    whole = None if reason else likelihood_terms(observations)
    best = None if whole is None else maximise(whole, model)
    if whole is None or best is None or not best.found:
        return TooFewToSay(reason or "the likelihood has no maximum", observations.failed, observations.total)
    rows_of: dict[Hashable, list[int]] = {}
    for row, label in enumerate(unit):
        rows_of.setdefault(label, []).append(row)
    if len(rows_of) < 2:
        return TooFewToSay("all rows belong to one unit", observations.failed, observations.total)
    sets = [likelihood_terms(_subset(observations, rows), float(whole.centre)) for rows in rows_of.values()]
    each = log_likelihood(
        stacked(sets), model, np.full(len(sets), float(best.offset)), np.full(len(sets), float(best.steepness))
    )
    scores = np.column_stack([each.by_offset, each.by_steepness])
    scores = scores[np.lexsort(scores.T)]
    at = best.at
    information = -np.array(
        [
            [at.by_offset_offset, at.by_offset_steepness],
            [at.by_offset_steepness, at.by_steepness_steepness],
        ],
        dtype=float,
    )
    steepness, offset = float(best.steepness), float(best.offset)
    slope = np.array([1 / steepness, -(offset + model.standard_quantile(share)) / steepness**2])
    lever = np.linalg.solve(information, slope)
    robust = float(((scores @ lever) ** 2).sum()) * len(sets) / (len(sets) - 1)
    return max(1.0, robust / float(slope @ lever))


def _subset(observations: LifeObservations, rows: list[int]) -> LifeObservations:
    return LifeObservations(
        observations.lower[rows], observations.upper[rows], observations.count[rows], observations.entry[rows]
    )
