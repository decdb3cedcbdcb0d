"""Limits for the age by which a share is worn, with the choice between Weibull and lognormal inside them.

Each model gives a confidence distribution for the quantile from its profile likelihood (the normal distribution
of the signed root of the likelihood ratio); the two are mixed with weights proportional to the models' maximised
likelihoods, and limits are quantiles of the mixture. Source: Turek & Fletcher 2012, "Model-averaged Wald
confidence intervals", Comput. Stat. Data Anal. 56; Fletcher & Turek 2012, "Model-averaged profile likelihood
intervals", J. Agric. Biol. Environ. Stat. 17; weights as in Burnham & Anderson, Model Selection and Multimodel
Inference, 2002 (both models have two parameters). Profile likelihood: Meeker & Escobar 1998, ch. 8. Signed roots are
centred for the spread being estimated by the posterior tail formula of DiCiccio & Martin 1993, "Simple modifications for
signed roots of likelihood ratio statistics", J. R. Statist. Soc. B 55.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

from analytics.estimators.life_confidence import NO_WEIGHT
from analytics.estimators.life_fit import Maxima
from analytics.estimators.life_likelihood import LikelihoodTerms, LogLikelihood, log_likelihood
from analytics.estimators.life_models import LifeModel, Values

WIDEST = 7.0
"""Limits further than this from the estimate on the log scale (a factor of 1,100) are given as open."""
ROUNDS = 40
INNER_ROUNDS = 20
LARGE = 10_000.0
"""Information on the offset from which on centring moves a limit by less than 0.0001, and is left out."""


@dataclass(frozen=True)
class QuantileLimits:
    """Hold quantile limits of a stack of data sets, shape (data sets, shares); all on the log-age scale.

    estimate is the weighted mean of the models' log quantiles; lower is -inf and upper +inf where the profile
    stays above the limit however far one goes.
    """

    estimate: Values
    lower: Values
    upper: Values


def model_weights(maxima: Sequence[Maxima]) -> Values:
    """Return the models' weights, shape (models, data sets), proportional to their maximised likelihoods."""
    values = np.array([np.where(m.found, m.at.value, -np.inf) for m in maxima])
    with np.errstate(invalid="ignore"):
        raw = np.exp(values - values.max(axis=0))
        return np.asarray(np.nan_to_num(raw / raw.sum(axis=0)), dtype=float)


def quantile_limits(
    terms: LikelihoodTerms,
    models: Sequence[LifeModel],
    maxima: Sequence[Maxima],
    shares: Sequence[float],
    level: float,
    inflation: Values | float = 1.0,
) -> QuantileLimits:
    """Return estimate and two-sided limits of the log age by which each share has failed.

    Shapes: terms of (data sets, n); inflation (data sets,), by which likelihood ratios are divided, as
    life_clusters.cluster_inflation gives it; result (data sets, shares). Data sets without a maximum in any model come
    back as open on both sides. Method: Newton's method on the normal score of the mixed confidence distribution
    with the steepness carried along each profile, kept inside a bracket. Data sets in which the same models carry weight
    are worked together.
    """
    weights = model_weights(maxima)
    z = np.asarray(shares, dtype=float)
    each = [_best_quantile(model, best, z) for model, best in zip(models, maxima, strict=True)]
    estimate = _weighted(weights, each)
    lower, upper = np.full_like(estimate, -np.inf), np.full_like(estimate, np.inf)
    counted = weights > NO_WEIGHT
    for telling in np.unique(counted[:, counted.any(axis=0)], axis=1).T:
        sets = np.flatnonzero((counted == telling[:, None]).all(axis=0))
        part, factor = terms.of(sets).repeated(), np.broadcast_to(inflation, terms.centre.shape)[sets]
        profiles = [
            _Profile(part, model, best.item(sets), z, factor)
            for model, best, tells in zip(models, maxima, telling, strict=True)
            if tells
        ]
        for side, tail in ((lower, (1 - level) / 2), (upper, (1 + level) / 2)):
            side[sets] = _solve(profiles, weights[telling][:, sets], estimate[sets], tail)
    centre = terms.centre[..., None]
    return QuantileLimits(estimate + centre, lower + centre, upper + centre)


def quantile_estimates(
    terms: LikelihoodTerms, models: Sequence[LifeModel], maxima: Sequence[Maxima], shares: Sequence[float]
) -> Values:
    """Return what quantile_limits returns as estimate, where nobody asks for the limits."""
    each = [
        _best_quantile(model, best, np.asarray(shares, dtype=float)) for model, best in zip(models, maxima, strict=True)
    ]
    return np.asarray(_weighted(model_weights(maxima), each) + terms.centre[..., None], dtype=float)


def _best_quantile(model: LifeModel, best: Maxima, shares: Values) -> Values:
    z = np.array([model.standard_quantile(p) for p in shares])
    found = best.found[..., None]
    steepness = np.where(found, best.steepness[..., None], 1.0)
    return np.where(found, (best.offset[..., None] + z) / steepness, 0.0)


def small_sample_factor(best: Maxima, bracketed: Values | float = 0.0) -> Values:
    """Return the Bartlett factor by which likelihood ratios are divided: 1 + k / (information on the offset).

    The information on the offset at known steepness is the size of the complete normal sample that would tell the
    location as well; a Bartlett factor has the form 1 + k / size (Barndorff-Nielsen & Cox, Inference and Asymptotics,
    1994, ch. 6). k = 2, less the share of failures that are bracketed, whose signed roots are centred in full; set once,
    by the simulations of tests/analytics/estimators/life_coverage.py.
    """
    return np.where(best.found, 1 + (2 - bracketed) / np.maximum(-best.at.by_offset_offset, 1.0), 1.0)


def bracketed_share(terms: LikelihoodTerms) -> Values:
    """Return which share of the failures has an age from below too (exact, or between two ages), per data set."""
    known = terms.exact_weight.sum(axis=-1) + terms.interval_weight.sum(axis=-1)
    return np.asarray(known / np.maximum(known + terms.failed_weight.sum(axis=-1), 1e-300), dtype=float)


class _Profile:
    """Follow the profile likelihood of one model in the log quantile, one per data set and share."""

    def __init__(
        self, terms: LikelihoodTerms, model: LifeModel, best: Maxima, shares: Values, inflation: Values | float
    ) -> None:
        self.terms, self.model = terms, model
        self.z = np.array([model.standard_quantile(p) for p in shares])
        found = best.found[..., None]
        steepness = np.where(found, best.steepness[..., None], 1.0)
        self.best = _best_quantile(model, best, shares)
        self.top = np.broadcast_to(np.where(found, best.at.value[..., None], -1e300), self.best.shape)
        self.steepness = np.broadcast_to(steepness, self.best.shape).copy()
        self.spread = _quantile_spread(best.at, steepness, self.best)
        bracketed = np.broadcast_to(bracketed_share(terms)[..., 0], best.found.shape)
        factor = small_sample_factor(best, bracketed)
        self.divisor = np.broadcast_to((factor * inflation)[..., None], self.best.shape)
        centred = best.found & (-best.at.by_offset_offset < LARGE)
        self.centred = np.where(centred, (1 + bracketed) / 2, 0.0)[..., None]
        self.power = (1.5 + 0.5 * bracketed)[..., None]
        self.log_root_information = 0.5 * np.log(np.maximum(_determinant(best.at), 1e-300))[..., None]
        self.log_steepness = np.log(steepness)
        self.middle = np.zeros_like(self.best)
        if self.centred.any():
            sides = [self.signed_root(self.best + way * 0.6 * self.spread)[2] for way in (-1.0, 1.0)]
            self.middle = (sides[0] + sides[1]) / 2

    def signed_root(self, quantile: Values) -> tuple[Values, Values, Values]:
        """Return the signed root of the likelihood ratio at each log quantile, its derivative, and its own centre."""
        steepness = self.steepness
        for _ in range(INNER_ROUNDS):
            at = log_likelihood(self.terms, self.model, steepness * quantile - self.z, steepness)
            slope = at.by_steepness + quantile * at.by_offset
            curve = -(
                at.by_steepness_steepness + 2 * quantile * at.by_offset_steepness + quantile**2 * at.by_offset_offset
            )
            curve = np.where(curve > 0, curve, np.abs(slope) / steepness + 1e-300)
            step = np.clip(slope / curve, -0.7 * steepness, 2.0 * steepness)
            with np.errstate(over="ignore"):
                gain = 0.5 * slope * step
            # Far out the likelihood falls like exp(-exp(z)), where Newton's steps crawl: halve the steepness instead.
            step = np.where((gain > 50) & (slope < 0), -0.5 * steepness, step)
            settled = np.abs(gain) < 5e-8
            if settled.all():
                break
            steepness = np.clip(steepness + step, 1e-8, 1e6)
        self.steepness = steepness
        value = at.value + np.where(settled, gain, 0.0)
        root = np.sqrt(2 * np.maximum(self.top - value, 0.0) / self.divisor)
        signed = np.where(quantile < self.best, root, -root)
        near, impossible = root < 1e-4, np.isinf(root)
        at_best = -1 / (self.spread * np.sqrt(self.divisor))
        with np.errstate(over="ignore"):
            away = -steepness * at.by_offset / np.where(near | impossible, 1.0, signed * self.divisor)
        derivative = np.where(near, at_best, np.where(impossible, 0.0, away))
        if not self.centred.any():
            return signed, derivative, np.zeros_like(signed)
        centre = self._centre(signed * np.sqrt(self.divisor), at, curve, steepness)
        return signed - self.centred * centre / np.sqrt(self.divisor), derivative, centre

    def _centre(self, root: Values, at: LogLikelihood, curve: Values, steepness: Values) -> Values:
        """Return about what the signed root is centred for the steepness being estimated too.

        Method: -log(q / r) / r of DiCiccio & Martin. Where failures are bracketed: in full, with the prior 1 / spread in
        (location, spread), under which limits are exact for complete and type II censored samples (1 / steepness^2 in
        offset and steepness). Where they are known from one side only, no prior is exact: half of it, with
        1 / steepness^1.5, set once by the simulations of tests/analytics/estimators/life_coverage.py, so that true
        quantiles rank evenly. In between by the share that is bracketed. About r = 0 the formula is 0 / 0 and its mean at
        both sides stands for it.
        """
        with np.errstate(all="ignore"):
            log_q = (
                np.log(np.abs(at.by_offset)) + 0.5 * np.log(curve) - self.log_root_information
                + self.power * (np.log(steepness) - self.log_steepness)
            )  # fmt: skip
            away = -(log_q - np.log(np.abs(root))) / root
        away = np.where(np.isfinite(away) & (at.by_offset * root > 0), np.clip(away, -1.0, 1.0), self.middle)
        part = np.clip((np.abs(root) - 0.1) / 0.3, 0.0, 1.0)
        return part * away + (1 - part) * self.middle


def _solve(profiles: Sequence[_Profile], weights: Values, start: Values, tail: float) -> Values:
    target = float(ndtri(tail))
    spread = _weighted(weights, [p.spread for p in profiles])
    way = np.sign(target)
    reach = start + way * 0.99 * WIDEST
    low, high = start - WIDEST, start + WIDEST
    place = np.clip(start + target * spread, low, high)
    for profile in profiles:
        profile.steepness = np.broadcast_to(profile.steepness, place.shape)
    for _ in range(ROUNDS):
        score, slope = _mixed_score(profiles, weights, place)
        gap = score - target
        low, high = np.where(gap < 0, place, low), np.where(gap > 0, place, high)
        still_inside = gap * way < 0
        open_side = still_inside & (np.abs(place - start) > 0.98 * WIDEST)
        done = (np.abs(gap) < 1e-5) | (high - low < 1e-9) | open_side
        if done.all():
            break
        moved = place - gap / np.maximum(slope, 1e-6)
        middle = np.where(still_inside & (np.abs(moved - start) > WIDEST), reach, 0.5 * (low + high))
        place = np.where(done, place, np.where((moved > low) & (moved < high), moved, middle))
    return np.where(open_side, way * np.inf, place)


def _weighted(weights: Values, values: Sequence[Values]) -> Values:
    total = np.zeros_like(values[0])
    for weight, value in zip(weights, values, strict=True):
        total = total + weight[..., None] * value
    return total


def _mixed_score(profiles: Sequence[_Profile], weights: Values, place: Values) -> tuple[Values, Values]:
    """Return the normal score of the mixed confidence distribution at each place, and its derivative."""
    below, above, density = np.zeros_like(place), np.zeros_like(place), np.zeros_like(place)
    for weight, profile in zip(weights, profiles, strict=True):
        root, slope, _ = profile.signed_root(place)
        below = below + weight[..., None] * ndtr(-root)
        above = above + weight[..., None] * ndtr(root)
        density = density - weight[..., None] * np.exp(-0.5 * root * root) * slope
    low = below < above
    score = np.where(low, ndtri(np.maximum(below, 1e-300)), -ndtri(np.maximum(above, 1e-300)))
    return score, density * np.exp(0.5 * score * score)


def _quantile_spread(at: LogLikelihood, steepness: Values, quantile: Values) -> Values:
    """Return the Wald standard error of each log quantile."""
    a, b, c = -at.by_offset_offset, -at.by_offset_steepness, -at.by_steepness_steepness
    determinant = np.maximum(_determinant(at), 1e-300)
    by_offset, by_steepness = 1 / steepness, -quantile / steepness
    variance = (
        c[..., None] * by_offset**2 - 2 * b[..., None] * by_offset * by_steepness + a[..., None] * by_steepness**2
    ) / determinant[..., None]
    return np.sqrt(np.maximum(variance, 1e-12))


def _determinant(at: LogLikelihood) -> Values:
    return np.asarray(at.by_offset_offset * at.by_steepness_steepness - at.by_offset_steepness**2, dtype=float)
