"""How many of the units now running will fail within a further distance, with limits that hold for the count.

The count given the life is Poisson-binomial: units fail independently, each with its own chance of failing within
the further distance, given that it has run to its present age. What is not known of the life enters by mixing that
distribution over the likelihood of each model's parameters and over both models. Source: Lawless & Fredette 2005,
"Frequentist prediction intervals and predictive distributions", Biometrika 92; Meeker & Escobar 1998, ch. 12; Tian,
Meng & Meeker 2022, "Predicting the number of future events", J. Am. Stat. Assoc. 117 (plug-in limits do not hold,
mixing over the parameters does).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betainc

from analytics.estimators.life_estimate import too_few_for_life
from analytics.estimators.life_fit import Maxima, maximise, working_rows
from analytics.estimators.life_likelihood import LikelihoodTerms, likelihood_terms, log_likelihood_value, stacked
from analytics.estimators.life_limits import model_weights, small_sample_factor
from analytics.estimators.life_models import MODELS, LifeModel, Values
from analytics.estimators.life_observations import LifeObservations, TooFewToSay

NODES = 11
"""Quadrature points along each of the two parameters."""
STEEPNESS_POWER = 0.5
"""Of the prior density in (offset, log steepness)."""
MOST_UNITS_EXACT = 300
"""Up to this many units the Poisson-binomial distribution is summed exactly."""


@dataclass(frozen=True)
class CountDue:
    """Hold the number of units expected to fail within the further distance.

    Columns: expected; lower and upper, whole numbers, limits of the level asked for; level; cumulative, shape
    (units + 1,), the chance of k or fewer, k = 0, 1, ...; chance, one a row of units, of failing within its
    distance; failures and observations the life rests on.
    """

    expected: float
    lower: int
    upper: int
    level: float
    cumulative: Values
    chance: Values
    failures: float
    observations: float


@dataclass(frozen=True)
class LifeMixture:
    """Hold points (offset, steepness, weight) that stand for what is known of the life, for one model each."""

    model: LifeModel
    centre: float
    offset: Values
    steepness: Values
    weight: Values


def count_due(
    observations: LifeObservations,
    current_age: ArrayLike,
    additional_distance: ArrayLike,
    units: ArrayLike | None = None,
    level: float = 0.9,
) -> CountDue | TooFewToSay:
    """Predict how many running units fail within a further distance, given that each has run to its present age.

    Shapes: current_age, additional_distance and units (number of identical units, whole, 1 when left out) have one
    length. Limits hold the whole numbers whose mid-point cumulative chance, P(fewer) + P(exactly) / 2, lies within
    the level; so they hold in the long run with the level's share on average, neither rounded in nor out. Raises
    ValueError for negative ages or distances or unequal lengths.
    """
    age, further, number = _units(current_age, additional_distance, units)
    too_few = too_few_for_life(observations)
    if too_few:
        return too_few
    mixtures = life_mixture(observations)
    if not mixtures:
        return TooFewToSay(
            "no model of the life has a maximum of its likelihood", observations.failed, observations.total
        )
    chances = np.concatenate([_chance(m, age, further) for m in mixtures])
    weight = np.concatenate([m.weight for m in mixtures])
    cumulative = np.minimum(weight @ _count_distribution(chances, number), 1.0)
    lower, upper = mid_point_limits(cumulative, level)
    chance = weight @ chances
    return CountDue(
        expected=float(chance @ number),
        lower=lower,
        upper=upper,
        level=level,
        cumulative=cumulative,
        chance=chance,
        failures=observations.failed,
        observations=observations.total,
    )


def life_mixture(observations: LifeObservations) -> list[LifeMixture]:
    """Return, for each model with a maximum, parameter points weighted by likelihood; all weights sum to 1.

    Method: product of NODES-point Gauss-Hermite rules in (offset, log steepness) about the maximum, scaled by the
    observed information and re-weighted by the likelihood itself; the log-likelihood ratio is divided by
    life_limits.small_sample_factor, and the two models share the weight in proportion to their maximised
    likelihoods. The prior is flat in (offset, root of steepness), half-way between flat in steepness and in its
    logarithm: set once by the simulations of tests/analytics/estimators/life_coverage.py. Flat in log steepness the
    count of flat lives at 60 inspections fell above its limits in 10 %, flat in steepness that of steep lives below.
    """
    terms = stacked([likelihood_terms(working_rows(observations))])
    maxima = [maximise(terms, model) for model in MODELS]
    weights = model_weights(maxima)[:, 0]
    return [
        _mixture(terms, model, best, weight)
        for model, best, weight in zip(MODELS, maxima, weights, strict=True)
        if best.found[0] and weight > 1e-6
    ]


def mid_point_limits(cumulative: Values, level: float) -> tuple[int, int]:
    """Return the first and last whole number whose mid-point cumulative chance lies within the level."""
    chance = np.diff(cumulative, prepend=0.0)
    middle = cumulative - chance / 2
    inside = np.flatnonzero((middle >= (1 - level) / 2) & (middle <= (1 + level) / 2))
    if not len(inside):
        inside = np.array([int(np.argmin(np.abs(middle - 0.5)))])
    return int(inside[0]), int(inside[-1])


def _units(
    current_age: ArrayLike, additional_distance: ArrayLike, units: ArrayLike | None
) -> tuple[Values, Values, Values]:
    age = np.array(current_age, dtype=float, ndmin=1)
    further = np.array(additional_distance, dtype=float, ndmin=1)
    number = np.ones_like(age) if units is None else np.array(units, dtype=float, ndmin=1)
    if not len(age) == len(further) == len(number):
        raise ValueError(
            "current_age, additional_distance and units must have one length; "
            f"found {len(age)}, {len(further)} and {len(number)}"
        )
    if not all(np.isfinite(a).all() and (a >= 0).all() for a in (age, further, number)):
        raise ValueError("current ages, further distances and numbers of units must be known and 0 or more")
    if (number != np.round(number)).any():
        raise ValueError("numbers of units must be whole")
    return age, further, number


def _mixture(terms: LikelihoodTerms, model: LifeModel, best: Maxima, weight: float) -> LifeMixture:
    at = best.item(0).at
    offset, steepness = float(best.offset[0]), float(best.steepness[0])
    information = -np.array(
        [
            [at.by_offset_offset, at.by_offset_steepness * steepness],
            [at.by_offset_steepness * steepness, at.by_steepness_steepness * steepness**2],
        ],
        dtype=float,
    )
    factor = float(small_sample_factor(best)[0])
    root = np.sqrt(factor) * np.linalg.cholesky(np.linalg.inv(information))
    point, mass = np.polynomial.hermite_e.hermegauss(NODES)
    first, second = (a.ravel() for a in np.meshgrid(point, point, indexing="ij"))
    steps = root @ np.vstack([first, second])
    offsets, steepnesses = offset + steps[0], steepness * np.exp(np.clip(steps[1], -4, 4))
    value = log_likelihood_value(terms, model, offsets, steepnesses)
    gain = (value - float(at.value)) / factor + 0.5 * (first**2 + second**2) + STEEPNESS_POWER * np.log(steepnesses)
    share = np.outer(mass, mass).ravel() * np.exp(gain - gain.max())
    return LifeMixture(model, float(terms.centre[0]), offsets, steepnesses, weight * share / share.sum())


def _chance(mixture: LifeMixture, age: Values, further: Values) -> Values:
    """Return the chance of failing within the further distance, shape (points, units)."""
    sound = []
    for reached in (age, age + further):
        with np.errstate(divide="ignore"):
            place = np.maximum(np.log(reached), -700.0) - mixture.centre
        z = mixture.steepness[:, None] * place - mixture.offset[:, None]
        sound.append(mixture.model.sound_value(z))
    return -np.expm1(np.minimum(sound[1] - sound[0], 0.0))


def _count_distribution(chances: Values, number: Values) -> Values:
    """Return P(count <= k) for k = 0 ... number of units, shape (points, units + 1)."""
    total = int(number.sum())
    if total <= MOST_UNITS_EXACT:
        return np.cumsum(_poisson_binomial(np.repeat(chances, number.astype(int), axis=1)), axis=1)
    mean, square = chances @ number, chances**2 @ number
    share = np.clip(square / np.maximum(mean, 1e-300), 1e-12, 1 - 1e-12)[:, None]
    trials = np.maximum(mean[:, None] / share, 1e-9)
    k = np.arange(total + 1, dtype=float)
    left = trials - k
    below = betainc(np.maximum(left, 1e-9), k + 1, 1 - share)
    return np.where(left <= 0, 1.0, below)


def _poisson_binomial(chances: Values) -> Values:
    """Return P(count = k), shape (points, units + 1), adding one unit at a time."""
    points, units = chances.shape
    mass = np.zeros((points, units + 1))
    mass[:, 0] = 1.0
    for j in range(units):
        p = chances[:, j : j + 1]
        mass[:, 1 : j + 2] = mass[:, 1 : j + 2] * (1 - p) + mass[:, : j + 1] * p
        mass[:, :1] *= 1 - p
    return mass


__all__: Sequence[str] = ["CountDue", "LifeMixture", "count_due", "life_mixture", "mid_point_limits"]
