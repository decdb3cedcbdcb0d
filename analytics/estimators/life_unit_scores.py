"""How much wider limits must be where lives of one unit may fare alike, from the fit already made, for many rows."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.estimators.life_fit import LifeFit
from analytics.estimators.life_likelihood import interval_derivatives
from analytics.estimators.life_models import Values
from analytics.estimators.life_observations import LifeObservations

Places = NDArray[np.intp]
LARGEST = 30.0  # of z: beyond this every life has failed, to any precision


def unit_inflation(observations: LifeObservations, unit: ArrayLike, fit: LifeFit, share: float = 0.1) -> float:
    """Return how much larger the variance of a log quantile is when rows of one unit may depend on one another.

    Shapes: unit, one whole number a row. Below 1 is given as 1; 1 where all rows belong to one unit. Method: sandwich
    variance with scores of (location, log spread) summed by unit, times units / (units - 1), over the model's own.
    Source: Chandler & Bate 2007, Biometrika 94.
    """
    labels, place = np.unique(np.asarray(unit), return_inverse=True)
    if len(labels) < 2:
        return 1.0
    scores = life_scores(observations, fit)
    summed = np.column_stack([np.bincount(place, weights=column, minlength=len(labels)) for column in scores.T])
    slope = np.array([1.0, fit.spread * fit.model.standard_quantile(share)])
    lever = fit.covariance @ slope
    own = float(slope @ lever)
    robust = float(np.sort((summed @ lever) ** 2).sum()) * len(labels) / (len(labels) - 1)
    return max(1.0, robust / own) if own > 0 and np.isfinite(robust) else 1.0


def life_scores(observations: LifeObservations, fit: LifeFit) -> Values:
    """Return the score of each row in (location, log spread) at the fit, shape (rows, 2)."""
    lower = np.maximum(observations.lower, observations.entry)
    low, up, entry = (_standard(age, fit) for age in (lower, observations.upper, observations.entry))
    running, exact = np.isinf(observations.upper), observations.lower == observations.upper
    left = ~running & ~exact & (lower <= 0)
    between = ~running & ~exact & ~left
    score = np.zeros((len(low), 2))

    def add(rows: Places, z: Values, slope: Values, sign: float = 1.0) -> None:
        score[rows, 0] -= sign * slope / fit.spread
        score[rows, 1] -= sign * slope * z

    sound, late = np.flatnonzero(running & (lower > 0)), np.flatnonzero(observations.entry > 0)
    add(sound, low[sound], fit.model.log_sound(low[sound])[1])
    add(late, entry[late], fit.model.log_sound(entry[late])[1], -1.0)
    failed, sharp, inside = np.flatnonzero(left), np.flatnonzero(exact), np.flatnonzero(between)
    add(failed, up[failed], fit.model.log_failed(up[failed])[1])
    add(sharp, up[sharp], fit.model.log_density(up[sharp])[1])
    score[sharp, 1] -= 1.0
    if len(inside):
        _, at_good, at_bad, *_ = interval_derivatives(fit.model, low[inside], up[inside])
        add(inside, low[inside], at_good)
        add(inside, up[inside], at_bad)
    return score * observations.count[:, None]


def _standard(age: Values, fit: LifeFit) -> Values:
    with np.errstate(divide="ignore"):
        z = (np.log(np.where(np.isinf(age), 1.0, age)) - fit.location) / fit.spread
    return np.clip(z, -700.0, LARGEST)
