"""The two life models, Weibull and lognormal, as log-location-scale families on z = steepness * log age - offset.

Writing z linear in the parameters makes the log-likelihood of any mix of exact, interval, left- and
right-censored lives concave (the smallest-extreme-value and normal densities are log-concave), so a stationary
point is the maximum. Source: Burridge 1981, "A note on maximum likelihood estimation for regression models using
grouped data", J. R. Statist. Soc. B 43; Meeker & Escobar, Statistical Methods for Reliability Data, 1998, ch. 4.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, ndtri

Values = NDArray[np.float64]
Derivatives = tuple[Values, Values, Values]
"""A function of z with its first and second derivative."""
Interval = tuple[Values, Values, Values, Values, Values]
"""log(F(bad) - F(good)), its derivative by good and by bad, and the derivative of log f at good and at bad."""

LOG_ROOT_TWO_PI = 0.5 * np.log(2 * np.pi)
LARGEST = 500.0
"""Beyond this the smallest-extreme-value exponent would overflow; the likelihood is then zero to any precision."""


@dataclass(frozen=True)
class LifeModel:
    """Name a family and hold its standard functions of z.

    Columns: name; log_failed(z) = log F, log_sound(z) = log(1 - F) and log_density(z) = log f, each with first
    and second derivative; failed_value and sound_value = the first two without derivatives, which cost the most;
    between(good, bad) = log(F(bad) - F(good)), of which no digits are lost where both lie in one tail; interval(good, bad)
    = the same with its derivatives by good and by bad, and those of log f at both;
    standard_quantile(p) = the z at which F(z) = p.
    """

    name: str
    log_failed: Callable[[Values], Derivatives]
    log_sound: Callable[[Values], Derivatives]
    log_density: Callable[[Values], Derivatives]
    failed_value: Callable[[Values], Values]
    sound_value: Callable[[Values], Values]
    between: Callable[[Values, Values], Values]
    interval: Callable[[Values, Values], Interval]
    standard_quantile: Callable[[float], float]


def _exponent(z: Values) -> Values:
    return np.exp(np.minimum(z, LARGEST))


def _weibull_failed_value(z: Values) -> Values:
    return _weibull_failed_of(z, _exponent(z))


def _weibull_failed_of(z: Values, power: Values) -> Values:
    with np.errstate(divide="ignore"):
        return np.where(power < 1e-300, z, np.log(-np.expm1(-power)))


def _weibull_sound_value(z: Values) -> Values:
    return -_exponent(z)


def _weibull_between(good: Values, bad: Values) -> Values:
    low, high = _exponent(good), _exponent(bad)
    return _weibull_between_of(good, bad, low, high, np.expm1(low - high))


def _weibull_between_of(good: Values, bad: Values, low: Values, high: Values, less: Values) -> Values:
    """Return -low + log(1 - exp(low - high)), with `less` = exp(low - high) - 1: exact in either tail."""
    with np.errstate(divide="ignore"):
        value = np.log(-less) - low
    vanishing = high < 1e-290
    if vanishing.any():
        value = np.where(vanishing, log_difference(bad, good), value)
    return value


def _weibull_interval(good: Values, bad: Values) -> Interval:
    low, high = _exponent(good), _exponent(bad)
    less = np.expm1(low - high)
    value = _weibull_between_of(good, bad, low, high, less)
    with np.errstate(divide="ignore", invalid="ignore"):
        at_good, at_bad = low / less, -high * (1 + less) / less
    vanishing = high < 1e-290
    if vanishing.any():
        at_good = np.where(vanishing, -np.exp(np.minimum(good - value, LARGEST)), at_good)
        at_bad = np.where(vanishing, np.exp(np.minimum(bad - value, LARGEST)), at_bad)
    return value, at_good, at_bad, 1 - low, 1 - high


def _weibull_log_failed(z: Values) -> Derivatives:
    power = _exponent(z)
    value = _weibull_failed_of(z, power)
    with np.errstate(over="ignore", divide="ignore", invalid="ignore"):
        first = np.where(power < 1e-300, 1.0, power / np.expm1(power))
    return value, first, first * (1 - np.minimum(power, 1e9) - first)


def _weibull_log_sound(z: Values) -> Derivatives:
    value = -_exponent(z)
    return value, value, value


def _weibull_log_density(z: Values) -> Derivatives:
    power = _exponent(z)
    return z - power, 1 - power, -power


def _normal_failed_value(z: Values) -> Values:
    return np.asarray(log_ndtr(z), dtype=float)


def _normal_sound_value(z: Values) -> Values:
    return _normal_failed_value(-z)


def _normal_between(good: Values, bad: Values) -> Values:
    above = good > 0
    return log_difference(
        _normal_failed_value(np.where(above, -good, bad)), _normal_failed_value(np.where(above, -bad, good))
    )


def _normal_interval(good: Values, bad: Values) -> Interval:
    value = _normal_between(good, bad)
    shift = np.where(np.isfinite(value), value, 0.0) + LOG_ROOT_TWO_PI
    with np.errstate(over="ignore"):
        at_good, at_bad = -np.exp(-0.5 * good * good - shift), np.exp(-0.5 * bad * bad - shift)
    return value, at_good, at_bad, -good, -bad


def _normal_log_failed(z: Values) -> Derivatives:
    value = log_ndtr(z)
    ratio = np.exp(-0.5 * z * z - LOG_ROOT_TWO_PI - value)
    return value, ratio, -ratio * (z + ratio)


def _normal_log_sound(z: Values) -> Derivatives:
    value, first, second = _normal_log_failed(-z)
    return value, -first, second


def _normal_log_density(z: Values) -> Derivatives:
    return -0.5 * z * z - LOG_ROOT_TWO_PI, -z, np.full_like(z, -1.0)


def _weibull_quantile(probability: float) -> float:
    return float(np.log(-np.log1p(-probability)))


def _normal_quantile(probability: float) -> float:
    return float(ndtri(probability))


WEIBULL = LifeModel(
    name="Weibull",
    log_failed=_weibull_log_failed,
    log_sound=_weibull_log_sound,
    log_density=_weibull_log_density,
    failed_value=_weibull_failed_value,
    sound_value=_weibull_sound_value,
    between=_weibull_between,
    interval=_weibull_interval,
    standard_quantile=_weibull_quantile,
)
LOGNORMAL = LifeModel(
    name="lognormal",
    log_failed=_normal_log_failed,
    log_sound=_normal_log_sound,
    log_density=_normal_log_density,
    failed_value=_normal_failed_value,
    sound_value=_normal_sound_value,
    between=_normal_between,
    interval=_normal_interval,
    standard_quantile=_normal_quantile,
)
MODELS = (WEIBULL, LOGNORMAL)


def log_difference(high: Values, low: Values) -> Values:
    """Return log(exp(high) - exp(low)) for high >= low without loss where the two are close or tiny."""
    with np.errstate(divide="ignore", invalid="ignore"):
        gap = np.minimum(low - high, 0.0)
        return np.where(
            low == -np.inf,
            high,
            high + np.where(gap > -0.6931, np.log(-np.expm1(gap)), np.log1p(-np.exp(gap))),
        )
