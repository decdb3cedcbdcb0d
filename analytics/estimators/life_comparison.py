"""Which lasts longer: the factor by which life differs between two groups, adjusted, with limits and p-value."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtrc

from analytics.estimators.life_confidence import SignedRoot, mixed_confidence, mixed_limit
from analytics.estimators.life_models import MODELS, LifeModel, Values
from analytics.estimators.life_observations import LifeObservations, TooFewToSay
from analytics.estimators.life_regression import RegressionFit, RegressionRows, regression_fit, regression_rows

FEWEST_FAILURES = 5


@dataclass(frozen=True)
class LifeRatio:
    """Hold how many times longer lives last for each unit of a covariate (for a group: than for the others).

    Columns: ratio; lower, upper at level (0 and inf where open); p_value of no difference; weights of the Weibull and
    lognormal model; failures, observations.
    """

    ratio: float
    lower: float
    upper: float
    level: float
    p_value: float
    weights: tuple[float, ...]
    failures: float
    observations: float


def compare_lives(
    observations: LifeObservations, effect: ArrayLike, adjust: ArrayLike | None = None, level: float = 0.9
) -> LifeRatio | TooFewToSay:
    """Estimate the ratio of lives between effect = 1 and effect = 0, at equal values of the adjusting covariates.

    Shapes: effect (n,), adjust (n, k), aligned with the observations' rows. An association, not a cause. Limits and
    p-value are profile-likelihood, mixed over both models as in life_limits; the p-value is twice the smaller tail of
    the mixed confidence at ratio 1. Raises ValueError for covariates of another length or unknown. Source: Meeker &
    Escobar 1998, ch. 17; Lawless 2003, ch. 6.
    """
    column = np.array(effect, dtype=float, ndmin=1)
    design = _design(column, adjust)
    reason = _no_contrast(observations, column)
    if reason:
        return TooFewToSay(reason, observations.failed, observations.total)
    rows = regression_rows(observations, design)
    fits = [regression_fit(rows, model, rows.design) for model in MODELS]
    if not all(fit.found for fit in fits):
        return TooFewToSay(
            "the groups or covariates separate the failed from the sound, so the ratio has no bound",
            observations.failed,
            observations.total,
        )
    weights = likelihood_weights(fits)
    roots = [_ratio_root(rows, model, fit) for model, fit in zip(MODELS, fits, strict=True)]
    effects = [float(fit.coefficients[0] / fit.steepness) for fit in fits]
    start = float(np.dot(weights, effects))
    spread = max(_effect_error(fit) for fit in fits)
    low, high = (mixed_limit(roots, weights, start, spread, t) for t in ((1 - level) / 2, (1 + level) / 2))
    below = mixed_confidence(roots, weights, 0.0)
    return LifeRatio(
        ratio=float(np.exp(start)),
        lower=float(np.exp(low)),
        upper=float(np.exp(high)),
        level=level,
        p_value=float(min(1.0, 2 * min(below, 1 - below))),
        weights=weights,
        failures=observations.failed,
        observations=observations.total,
    )


def lives_differ(
    observations: LifeObservations, group: Sequence[str], adjust: ArrayLike | None = None
) -> float | TooFewToSay:
    """Return the p-value of the hypothesis that lives do not differ between any of the groups.

    Shapes: group (n,) of labels, adjust (n, k). Likelihood-ratio test, chi-squared with one less than the number of
    groups, of the model of greater likelihood.
    """
    labels, place = np.unique(np.asarray(group), return_inverse=True)
    if len(labels) < 2:
        return TooFewToSay("there is one group only", observations.failed, observations.total)
    shared = _design(np.zeros(len(place)), adjust)[:, 1:]
    design = np.column_stack([np.eye(len(labels))[place][:, 1:], shared])
    rows = regression_rows(observations, design)
    extra = len(labels) - 1
    full = [regression_fit(rows, model, rows.design) for model in MODELS]
    if not all(fit.found for fit in full):
        return TooFewToSay(
            "in some group none or all had failed, so its life has no bound",
            observations.failed,
            observations.total,
        )
    best = int(np.argmax([fit.log_likelihood for fit in full]))
    null = regression_fit(rows, MODELS[best], rows.design[:, extra:])
    return float(chdtrc(extra, max(2 * (full[best].log_likelihood - null.log_likelihood), 0.0)))


def likelihood_weights(fits: Sequence[RegressionFit]) -> tuple[float, ...]:
    """Return weights proportional to the maximised likelihoods."""
    values = np.array([fit.log_likelihood for fit in fits])
    raw = np.exp(values - values.max())
    return tuple(float(w) for w in raw / raw.sum())


def _design(column: Values, adjust: ArrayLike | None) -> Values:
    parts = [column[:, None], np.ones((len(column), 1))]
    if adjust is not None:
        others = np.array(adjust, dtype=float)
        others = others[:, None] if others.ndim == 1 else others
        if len(others) != len(column):
            raise ValueError(f"effect and adjust must have one length; found {len(column)} and {len(others)}")
        spread = others.std(axis=0)
        parts.append((others - others.mean(axis=0))[:, spread > 0] / spread[spread > 0])
    return np.column_stack(parts)


def _no_contrast(observations: LifeObservations, effect: Values) -> str:
    if len(effect) != len(observations.lower):
        raise ValueError(f"effect needs one value for each of the {len(observations.lower)} observations")
    failed = np.where(np.isfinite(observations.upper), observations.count, 0.0)
    if observations.failed < FEWEST_FAILURES:
        return f"a comparison needs at least {FEWEST_FAILURES} failures"
    values = np.unique(effect[observations.count > 0])
    if len(values) < 2:
        return "there is one group only"
    if len(values) == 2 and any(not failed[effect == v].sum() for v in values):
        return "in one of the groups none has failed"
    return ""


def _ratio_root(rows: RegressionRows, model: LifeModel, fit: RegressionFit) -> SignedRoot:
    """Return the signed root of the likelihood ratio of the log ratio: the effect moves into the shift of log age."""
    best = float(fit.coefficients[0] / fit.steepness)
    near = RegressionFit(fit.coefficients[1:], fit.steepness, 0.0, fit.information, found=True)

    def root(value: float) -> float:
        nonlocal near  # the search comes closer and closer, so each fit begins at the one before
        limited = regression_fit(rows, model, rows.design[:, 1:], shift=value * rows.design[:, 0], start=near)
        near = limited if limited.found else near
        size = np.sqrt(max(2 * (fit.log_likelihood - limited.log_likelihood), 0.0))
        return float(np.copysign(size, best - value))

    return root


def _effect_error(fit: RegressionFit) -> float:
    slope = np.zeros(len(fit.information))
    slope[0], slope[-1] = 1 / fit.steepness, -fit.coefficients[0] / fit.steepness**2
    return float(np.sqrt(slope @ np.linalg.solve(fit.information, slope)))
