"""Does the fitted life describe the inspections? A parametric bootstrap of the likelihood ratio to the free curve.

Valid for inspections that tell "failed by now" or "not yet", whose ages do not depend on the life: the inspections
are kept, their outcomes are drawn anew from the fitted life, and both the model and the free curve are fitted to
each draw, so that neither the fitted parameters nor the order restriction biases the p-value. Source: Davison &
Hinkley, Bootstrap Methods and their Application, 1997, sec. 4.4; free curve: Ayer et al. 1955.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import xlogy

from analytics.estimators.life_estimate import too_few_for_life
from analytics.estimators.life_fit import maximise
from analytics.estimators.life_likelihood import LikelihoodTerms, log_likelihood_value
from analytics.estimators.life_models import LifeModel, Values
from analytics.estimators.life_observations import LifeObservations, TooFewToSay, binned
from analytics.estimators.life_status_curve import pool_adjacent_violators

MOST_AGES = 120


@dataclass(frozen=True)
class GoodnessOfFit:
    """Hold the test. Columns: statistic (twice the log-likelihood ratio to the free curve), p_value, draws."""

    statistic: float
    p_value: float
    draws: int


def goodness_of_fit(
    observations: LifeObservations, model: LifeModel, draws: int = 199, seed: int = 20240229
) -> GoodnessOfFit | TooFewToSay:
    """Test one model against the free curve; a small p-value says the model does not describe the inspections.

    Observations that are not all current status and from new come back as not tested, with the reason.
    """
    too_few = too_few_for_life(observations)
    if too_few:
        return too_few
    rows = _coarse(observations.collapsed())
    running = np.isinf(rows.upper)
    if not (running | (rows.lower == 0)).all() or rows.entry.any():
        return TooFewToSay(
            "the fit is tested only where every row tells 'failed by now' or 'not yet' from new",
            observations.failed,
            observations.total,
        )
    age, place = np.unique(np.where(running, rows.lower, rows.upper), return_inverse=True)
    kept = age > 0
    failed = np.bincount(place, weights=np.where(running, 0.0, rows.count), minlength=len(age))[kept].astype(float)
    seen = np.bincount(place, weights=rows.count, minlength=len(age))[kept].astype(float)
    if (seen != np.round(seen)).any():
        return TooFewToSay("the fit is tested only on whole counts", observations.failed, observations.total)
    log_age = np.log(age[kept])
    found, offset, steepness, statistic = _ratios(log_age, seen, failed[None, :], model)
    if not found[0]:
        return TooFewToSay("the model has no maximum", observations.failed, observations.total)
    z = steepness[0] * (log_age - log_age.mean()) - offset[0]
    chance = np.exp(model.failed_value(z))
    outcomes = np.random.default_rng(seed).binomial(seen.astype(int), chance, size=(draws, len(seen)))
    drawn = _ratios(log_age, seen, outcomes.astype(float), model)[3]
    return GoodnessOfFit(float(statistic[0]), float((1 + (drawn >= statistic[0] - 1e-9).sum()) / (draws + 1)), draws)


def _coarse(rows: LifeObservations) -> LifeObservations:
    """Bin ages so that at most MOST_AGES distinct ones remain, or as few as bins of 10 % leave."""
    for ratio in (0.01, 0.02, 0.05, 0.1):
        ages = np.unique(np.where(np.isinf(rows.upper), rows.lower, rows.upper))
        if len(ages) <= MOST_AGES:
            return rows
        edges = np.log1p(ratio)
        middle = np.exp((np.floor(np.log(np.maximum(ages, 1e-300)) / edges) + 0.5) * edges)
        if len(np.unique(middle)) <= MOST_AGES or ratio == 0.1:
            return _snapped(binned(rows, ratio), edges)
    return rows


def _snapped(rows: LifeObservations, edges: float) -> LifeObservations:
    """Put failed and sound rows of one bin at one age, the middle of the bin."""

    def middle(age: Values) -> Values:
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.where((age > 0) & np.isfinite(age), np.exp((np.floor(np.log(age) / edges) + 0.5) * edges), age)

    return LifeObservations(middle(rows.lower), middle(rows.upper), rows.count, middle(rows.entry)).collapsed()


def _ratios(
    log_age: Values, seen: Values, failed: Values, model: LifeModel
) -> tuple[NDArray[np.bool_], Values, Values, Values]:
    """Return found, offset, steepness and twice the log-likelihood ratio of each outcome, failed of (draws, ages)."""
    draws = len(failed)
    place = np.broadcast_to(log_age - log_age.mean(), failed.shape)
    none = np.zeros((draws, 0))
    sound = seen - failed
    terms = LikelihoodTerms(place, failed, place, sound, none, none, none, none, none, np.full(draws, log_age.mean()))
    best = maximise(terms, model)
    free = np.array([_free(row, seen) for row in failed])
    at_best = np.where(best.found, best.at.value, log_likelihood_value(terms, model, best.offset, best.steepness))
    return best.found, best.offset, best.steepness, np.asarray(np.maximum(2 * (free - at_best), 0.0))


def _free(failed: Values, seen: Values) -> float:
    share = pool_adjacent_violators(failed / seen, seen)
    return float((xlogy(failed, share) + xlogy(seen - failed, 1 - share)).sum())
