"""Maximum likelihood for a Weibull or lognormal life from any mix of censored and late-entered observations."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analytics.estimators.life_likelihood import (
    LikelihoodTerms,
    LogLikelihood,
    likelihood_terms,
    log_likelihood,
)
from analytics.estimators.life_models import WEIBULL, LifeModel, Values
from analytics.estimators.life_observations import LifeObservations, TooFewToSay, binned

MOST_ROWS = 400
WORKING_RATIO = 0.01
"""Above MOST_ROWS distinct rows, fits run on bins of this ratio at their mean log age (B10 moves below 0.02 %)."""
NO_MAXIMUM = "the likelihood has no maximum within reasonable lives, so no life can be read from it"
STEEPEST, FLATTEST = 1e3, 0.02
START_STEEPNESS = (1.5, 0.6, 4.0)


@dataclass(frozen=True)
class LifeFit:
    """Hold a fitted life model.

    Columns: model; location (mean of z on the log age) and spread (1 / steepness); log_likelihood;
    covariance of (location, log spread), shape (2, 2); decrement, half of which bounds the log-likelihood still
    to be gained (Newton decrement, near zero at a maximum); failures and observations (lives).
    """

    model: LifeModel
    location: float
    spread: float
    log_likelihood: float
    covariance: Values
    decrement: float
    failures: float
    observations: float

    @property
    def scale(self) -> float:
        """Give the Weibull scale (63.2 % failed) or the lognormal median, in the unit of the ages."""
        return float(np.exp(self.location))

    @property
    def shape(self) -> float:
        """Give the Weibull shape, or the lognormal sigma."""
        return 1 / self.spread if self.model is WEIBULL else self.spread

    @property
    def aic(self) -> float:
        """Give Akaike's criterion, two parameters."""
        return 4 - 2 * self.log_likelihood

    def quantile(self, probability: float) -> float:
        """Return the age by which the share `probability` (0 to 1) has failed."""
        return float(np.exp(self.location + self.spread * self.model.standard_quantile(probability)))

    def failed_by(self, age: Values) -> Values:
        """Return the share failed by each age."""
        with np.errstate(divide="ignore"):
            z = (np.log(np.asarray(age, dtype=float)) - self.location) / self.spread
        return np.exp(self.model.failed_value(np.maximum(z, -1e150)))


@dataclass(frozen=True)
class Maxima:
    """Hold the maxima of a stack of data sets, each of the leading shape: offset, steepness and the derivatives.

    found tells where Newton's method ended at an interior maximum; decrement is g' (-H)^-1 g there.
    """

    offset: Values
    steepness: Values
    at: LogLikelihood
    decrement: Values
    found: NDArray[np.bool_]

    def item(self, index: int | NDArray[np.intp]) -> Maxima:
        """Return the maximum of one data set of the stack, or those of several."""
        at = LogLikelihood(**{k: getattr(self.at, k)[index] for k in LogLikelihood.__dataclass_fields__})
        return Maxima(self.offset[index], self.steepness[index], at, self.decrement[index], self.found[index])


def fit_life(observations: LifeObservations, model: LifeModel) -> LifeFit | TooFewToSay:
    """Fit one model by maximum likelihood, or say in one sentence why there is no interior maximum.

    Method: Newton's method with step halving in (offset, steepness), where the log-likelihood is concave unless
    lives entered late; with late entry the best of several starts is kept. Raises ValueError for a failure at
    age 0. Source: Meeker & Escobar 1998, ch. 8 and 11.
    """
    reason = no_interior_maximum(observations)
    if reason:
        return TooFewToSay(reason, observations.failed, observations.total)
    terms = likelihood_terms(working_rows(observations))
    best = maximise(terms, model)
    if not best.found:
        return TooFewToSay(NO_MAXIMUM, observations.failed, observations.total)
    return life_fit(model, float(terms.centre), best, observations)


def no_interior_maximum(observations: LifeObservations) -> str:
    """Say in one sentence why the likelihood has no interior maximum, or return an empty string.

    Method: all rows share a common age exactly when the likelihood of every log-location-scale model has its
    supremum at infinite steepness; with "failed by now" and "not yet" rows only, it lies at steepness zero
    exactly when the failed are not older than the sound, in the mean of log age (the score at zero).
    """
    rows = observations.collapsed()
    if not rows.total:
        return "there are no observations"
    if not rows.failed:
        return "none has failed, so only a lower limit for life can be given"
    if (rows.upper == 0).any():
        return "a failure stands at age 0, and a failure needs an age above 0"
    if rows.failed == rows.total and not rows.lower.any():
        return "all had failed by the time they were seen, so only an upper limit for life can be given"
    if rows.lower.max() <= rows.upper.min():
        return (
            f"one age ({rows.upper.min():.6g}) agrees with every observation, so how widely lives spread cannot be told"
        )
    status_only = bool((np.isinf(rows.upper) | (rows.lower == 0)).all() and not rows.entry.any())
    if status_only:
        failed, sound = np.isfinite(rows.upper), np.isinf(rows.upper) & (rows.lower > 0)
        mean_failed = np.average(np.log(rows.upper[failed]), weights=rows.count[failed])
        mean_sound = np.average(np.log(rows.lower[sound]), weights=rows.count[sound])
        if mean_failed <= mean_sound:
            return "the failed are not older than the sound, so no wearing out is seen"
    return ""


def working_rows(observations: LifeObservations) -> LifeObservations:
    """Return the distinct rows, or fine bins of them where there are very many."""
    rows = observations.collapsed()
    return rows if len(rows.lower) <= MOST_ROWS else binned(rows, WORKING_RATIO)


def maximise(terms: LikelihoodTerms, model: LifeModel) -> Maxima:
    """Maximise the likelihood of each data set of a stack; parameters and flags have its leading shape."""
    if (terms.sound_weight >= 0).all():
        return _newton(terms, model, np.full(terms.centre.shape, START_STEEPNESS[0]))
    tries = _newton(
        terms.repeated(), model, np.broadcast_to(START_STEEPNESS, (*terms.centre.shape, len(START_STEEPNESS)))
    )
    score = np.where(tries.found, tries.at.value, -np.inf)
    pick = score.argmax(axis=-1)[..., None]

    def chosen(array: NDArray[Any]) -> NDArray[Any]:
        return np.take_along_axis(array, pick, axis=-1)[..., 0]

    at = LogLikelihood(**{k: chosen(getattr(tries.at, k)) for k in LogLikelihood.__dataclass_fields__})
    return Maxima(chosen(tries.offset), chosen(tries.steepness), at, chosen(tries.decrement), chosen(tries.found))


def _newton(terms: LikelihoodTerms, model: LifeModel, steepness: Values, rounds: int = 80) -> Maxima:
    steepness = np.array(steepness, dtype=float)
    offset = steepness * 0.0 - model.standard_quantile(0.4)
    at = log_likelihood(terms, model, offset, steepness)
    for _ in range(rounds):
        step_offset, step_steepness, decrement = _newton_step(at)
        going = (decrement > 1e-12) & (steepness > FLATTEST) & (steepness < STEEPEST)
        if not going.any():
            break
        with np.errstate(divide="ignore"):
            longest = np.minimum(1.0, 0.75 * steepness / np.maximum(-step_steepness, 1e-300))
        length = np.where(going, longest, 0.0)
        for _ in range(40):
            tried = log_likelihood(terms, model, offset + length * step_offset, steepness + length * step_steepness)
            short = tried.value < at.value + 1e-4 * length * decrement - 1e-12 * np.abs(at.value)
            if not short.any():
                break
            length = np.where(short, length / 2, length)
        else:
            length = np.where(short, 0.0, length)
            tried = log_likelihood(terms, model, offset + length * step_offset, steepness + length * step_steepness)
        offset, steepness, at = offset + length * step_offset, steepness + length * step_steepness, tried
    decrement = _newton_step(at)[2]
    size = at.by_offset_offset * at.by_steepness_steepness
    concave = (at.by_offset_offset < 0) & (_determinant(at) > 1e-10 * size)
    found = (decrement < 1e-6) & (steepness > FLATTEST) & (steepness < STEEPEST) & concave
    return Maxima(offset, steepness, at, decrement, found)


def _determinant(at: LogLikelihood) -> Values:
    return at.by_offset_offset * at.by_steepness_steepness - at.by_offset_steepness**2


def _newton_step(at: LogLikelihood) -> tuple[Values, Values, Values]:
    """Return the step in both parameters and g' (-H)^-1 g, with -H shifted to be positive where it is not."""
    a, b, c = -at.by_offset_offset, -at.by_offset_steepness, -at.by_steepness_steepness
    smallest = 0.5 * (a + c) - np.hypot(0.5 * (a - c), b)
    largest = np.abs(a) + np.abs(c) + 1e-300
    shift = np.maximum(0.0, 1e-12 * largest - smallest) * 1.1
    a, c = a + shift, c + shift
    determinant = a * c - b * b
    step_offset = (c * at.by_offset - b * at.by_steepness) / determinant
    step_steepness = (a * at.by_steepness - b * at.by_offset) / determinant
    return step_offset, step_steepness, step_offset * at.by_offset + step_steepness * at.by_steepness


def life_fit(model: LifeModel, centre: float, best: Maxima, observations: LifeObservations) -> LifeFit:
    """Return the fit of one data set from its maximum, in location and spread."""
    steepness, offset, at = float(best.steepness), float(best.offset), best.at
    information = -np.array(
        [
            [at.by_offset_offset, at.by_offset_steepness],
            [at.by_offset_steepness, at.by_steepness_steepness],
        ],
        dtype=float,
    )
    # location = centre + offset / steepness, log spread = -log steepness
    change = np.array([[1 / steepness, -offset / steepness**2], [0.0, -1 / steepness]])
    return LifeFit(
        model=model,
        location=centre + offset / steepness,
        spread=1 / steepness,
        log_likelihood=float(at.value),
        covariance=change @ np.linalg.inv(information) @ change.T,
        decrement=float(best.decrement),
        failures=observations.failed,
        observations=observations.total,
    )
