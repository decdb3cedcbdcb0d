"""The log-likelihood of life observations under a log-location-scale model, with analytic derivatives.

Everything is written for a stack of data sets at once: arrays have shape (..., n), the last axis being the rows of
one data set, padded with rows of weight zero; parameters have the shape of the leading axes.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.estimators.life_models import Derivatives, LifeModel, Values
from analytics.estimators.life_observations import LifeObservations


@dataclass(frozen=True)
class LikelihoodTerms:
    """Hold the rows by the part of the likelihood they enter, on the log-age scale less its `centre`.

    Shapes (..., n), each kind with its own n: failed (left-censored), sound (right-censored; the entry ages stand
    here with negative weight, which divides by the chance of surviving to entry), exact, and intervals from
    `good` to `bad`. centre has the leading shape.
    """

    failed: Values
    failed_weight: Values
    sound: Values
    sound_weight: Values
    exact: Values
    exact_weight: Values
    good: Values
    bad: Values
    interval_weight: Values
    centre: Values

    def repeated(self) -> LikelihoodTerms:
        """Return the same terms with an axis of length one before the last, to meet several parameters each."""
        arrays = {
            name: np.expand_dims(getattr(self, name), -1 if name == "centre" else -2)
            for name in self.__dataclass_fields__
        }
        return LikelihoodTerms(**arrays)

    def of(self, sets: NDArray[np.intp]) -> LikelihoodTerms:
        """Return the terms of some data sets of a stack, in the order given."""
        return LikelihoodTerms(**{name: getattr(self, name)[sets] for name in self.__dataclass_fields__})


@dataclass(frozen=True)
class LogLikelihood:
    """Hold the log-likelihood and its derivatives in (offset, steepness), all of the parameters' shape."""

    value: Values
    by_offset: Values
    by_steepness: Values
    by_offset_offset: Values
    by_offset_steepness: Values
    by_steepness_steepness: Values


def likelihood_terms(observations: LifeObservations, centre: float | None = None) -> LikelihoodTerms:
    """Sort the rows of one data set into likelihood terms; rows sound at age 0 tell nothing and are dropped.

    Raises ValueError for a failure at age zero, which has no place on a log scale.
    """
    rows = observations.collapsed()
    if (rows.upper == 0).any():
        raise ValueError(
            f"{rows.count[rows.upper == 0].sum():g} failures stand at age 0; a failure needs an age above 0"
        )
    failed = (rows.lower == 0) & np.isfinite(rows.upper)
    sound = np.isinf(rows.upper) & (rows.lower > 0)
    exact = rows.lower == rows.upper
    interval = (rows.lower > 0) & (rows.lower < rows.upper) & np.isfinite(rows.upper)
    late = rows.entry > 0
    ages = np.concatenate([rows.upper[failed], rows.lower[sound], rows.upper[exact | interval]])
    if centre is None:
        weight = np.concatenate([rows.count[failed], rows.count[sound], rows.count[exact | interval]])
        centre = float(np.average(np.log(ages), weights=weight)) if len(ages) else 0.0

    def log(values: Values) -> Values:
        return np.log(values) - centre

    sound_ages, sound_weights = _summed(
        np.concatenate([rows.lower[sound], rows.entry[late]]),
        np.concatenate([rows.count[sound], -rows.count[late]]),
    )
    failed_ages, failed_weights = _summed(rows.upper[failed], rows.count[failed])
    return LikelihoodTerms(
        failed=log(failed_ages),
        failed_weight=failed_weights,
        sound=log(sound_ages),
        sound_weight=sound_weights,
        exact=log(rows.upper[exact]),
        exact_weight=rows.count[exact],
        good=log(rows.lower[interval]),
        bad=log(rows.upper[interval]),
        interval_weight=rows.count[interval],
        centre=np.array(centre),
    )


def stacked(sets: Sequence[LikelihoodTerms]) -> LikelihoodTerms:
    """Stack the terms of several data sets, shape (number of sets, longest n), padded with weight zero."""
    arrays = {}
    for name in LikelihoodTerms.__dataclass_fields__:
        if name == "centre":
            arrays[name] = np.array([s.centre for s in sets], dtype=float)
            continue
        columns = [getattr(s, name) for s in sets]
        padded = np.full((len(sets), max(len(c) for c in columns)), 1.0 if name == "bad" else 0.0)
        for row, column in zip(padded, columns, strict=True):
            row[: len(column)] = column
        arrays[name] = padded
    return LikelihoodTerms(**arrays)


def log_likelihood(terms: LikelihoodTerms, model: LifeModel, offset: Values, steepness: Values) -> LogLikelihood:
    """Return the log-likelihood at z = steepness * (log age - centre) - offset and its derivatives.

    Exact rows enter with the density of the age itself. Shapes: offset and steepness as the leading axes of the
    terms. Method: sums of concave functions of z; chain rule, since z is linear in both parameters.
    """
    total = [np.zeros(np.broadcast(offset, steepness).shape) for _ in range(6)]
    for place, weight, function in _kinds(terms, model):
        if place.shape[-1]:
            value, first, second = function(_z(place, offset, steepness))
            _add(total, [_dot(weight, value), *_moments(weight, first, place), *_curves(weight, second, place)])
    if terms.interval_weight.shape[-1]:
        _add(total, _intervals(terms, model, offset, steepness))
    number = terms.exact_weight.sum(axis=-1)
    value = _with_ages_themselves(total[0], terms, steepness)
    return LogLikelihood(
        value=np.where(np.isnan(value), -np.inf, value),
        by_offset=-total[1],
        by_steepness=total[2] + number / steepness,
        by_offset_offset=total[3],
        by_offset_steepness=-total[4],
        by_steepness_steepness=total[5] - number / steepness**2,
    )


def log_likelihood_value(terms: LikelihoodTerms, model: LifeModel, offset: Values, steepness: Values) -> Values:
    """Return what log_likelihood returns as value, at about a third of the work."""
    total = np.zeros(np.broadcast(offset, steepness).shape)
    kinds = (
        (terms.failed, terms.failed_weight, model.failed_value),
        (terms.sound, terms.sound_weight, model.sound_value),
        (terms.exact, terms.exact_weight, lambda z: model.log_density(z)[0]),
    )
    for place, weight, function in kinds:
        if place.shape[-1]:
            total = total + _dot(weight, function(_z(place, offset, steepness)))
    if terms.interval_weight.shape[-1]:
        good, bad = _z(terms.good, offset, steepness), _z(terms.bad, offset, steepness)
        total = total + _dot(terms.interval_weight, model.between(good, bad))
    value = _with_ages_themselves(total, terms, steepness)
    return np.where(np.isnan(value), -np.inf, value)


def offset_derivatives(
    terms: LikelihoodTerms, model: LifeModel, offset: Values, steepness: Values
) -> tuple[Values, Values]:
    """Return what log_likelihood returns as by_offset and by_offset_offset, for searches at a known steepness."""
    first, second = (np.zeros(np.broadcast(offset, steepness).shape) for _ in range(2))
    for place, weight, function in _kinds(terms, model):
        if place.shape[-1]:
            _, slope, curve = function(_z(place, offset, steepness))
            first, second = first + (weight * slope).sum(axis=-1), second + (weight * curve).sum(axis=-1)
    if terms.interval_weight.shape[-1]:
        good, bad = _z(terms.good, offset, steepness), _z(terms.bad, offset, steepness)
        _, at_good, at_bad, curve_good, curve_bad, cross = interval_derivatives(model, good, bad)
        first = first + _dot(terms.interval_weight, at_bad + at_good)
        second = second + _dot(terms.interval_weight, curve_bad + curve_good + 2 * cross)
    return -first, second


def _kinds(
    terms: LikelihoodTerms, model: LifeModel
) -> tuple[tuple[Values, Values, Callable[[Values], Derivatives]], ...]:
    """Return (places, weights, log contribution with its two derivatives) of the rows that depend on one age."""
    return (
        (terms.failed, terms.failed_weight, model.log_failed),
        (terms.sound, terms.sound_weight, model.log_sound),
        (terms.exact, terms.exact_weight, model.log_density),
    )


def _z(place: Values, offset: Values, steepness: Values) -> Values:
    return np.asarray(steepness[..., None] * place - offset[..., None], dtype=float)


def _with_ages_themselves(total: Values, terms: LikelihoodTerms, steepness: Values) -> Values:
    """Return the log-likelihood with the density of exact ages, where `total` has that of z."""
    number = terms.exact_weight.sum(axis=-1)
    jacobian = _dot(terms.exact_weight, terms.exact) + number * terms.centre
    return np.asarray(total + number * np.log(steepness) - jacobian, dtype=float)


def _intervals(terms: LikelihoodTerms, model: LifeModel, offset: Values, steepness: Values) -> list[Values]:
    """Return value, first and second derivative sums of log(F(z_bad) - F(z_good)), from the smaller tail."""
    weight, good, bad = terms.interval_weight, terms.good, terms.bad
    z_good, z_bad = _z(good, offset, steepness), _z(bad, offset, steepness)
    value, at_good, at_bad, curve_good, curve_bad, cross = interval_derivatives(model, z_good, z_bad)
    return [
        _dot(weight, value),
        _dot(weight, at_bad + at_good),
        _dot(weight, at_bad * bad + at_good * good),
        _dot(weight, curve_bad + curve_good + 2 * cross),
        _dot(weight, curve_bad * bad + curve_good * good + cross * (good + bad)),
        _dot(weight, curve_bad * bad**2 + curve_good * good**2 + 2 * cross * good * bad),
    ]


def interval_derivatives(model: LifeModel, z_good: Values, z_bad: Values) -> tuple[Values, ...]:
    """Return log(F(z_bad) - F(z_good)) and its derivatives by good, bad, good-good, bad-bad and good-bad.

    Each has the shape of z. Computed from whichever tail is the smaller, so that no digits are lost.
    """
    value, at_good, at_bad, slope_good, slope_bad = model.interval(z_good, z_bad)
    possible = np.isfinite(value)  # elsewhere the trial parameters are refused by their value
    if not possible.all():
        at_good, at_bad = np.where(possible, at_good, 0.0), np.where(possible, at_bad, 0.0)
    curve_bad = (slope_bad - at_bad) * at_bad
    curve_good = (slope_good - at_good) * at_good
    return value, at_good, at_bad, curve_good, curve_bad, -at_bad * at_good


def _moments(weight: Values, first: Values, place: Values) -> tuple[Values, Values]:
    weighted = weight * first
    return weighted.sum(axis=-1), _dot(weighted, place)


def _curves(weight: Values, second: Values, place: Values) -> tuple[Values, Values, Values]:
    weighted = weight * second
    moved = weighted * place
    return weighted.sum(axis=-1), moved.sum(axis=-1), _dot(moved, place)


def _dot(weight: Values, value: Values) -> Values:
    return np.asarray(np.einsum("...n,...n->...", weight, value), dtype=float)


def _add(total: list[Values], parts: Sequence[Values]) -> None:
    for index, part in enumerate(parts):
        total[index] = total[index] + part


def _summed(ages: Values, weights: Values) -> tuple[Values, Values]:
    distinct, place = np.unique(ages, return_inverse=True)
    return distinct, np.bincount(place, weights=weights, minlength=len(distinct)).astype(float)
