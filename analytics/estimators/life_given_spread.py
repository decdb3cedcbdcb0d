"""Lives of families with few failures, the spread of lives taken from all families of one component together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analytics.estimators.life_estimate import LifeQuantile
from analytics.estimators.life_likelihood import (
    LikelihoodTerms,
    likelihood_terms,
    log_likelihood_value,
    offset_derivatives,
    stacked,
)
from analytics.estimators.life_models import MODELS, LifeModel, Values
from analytics.estimators.life_observations import LifeObservations, TooFewToSay, binned

FEWEST_SHARED = 8
"""Failures that all families together must have before their spread is lent to any of them."""
STEEPNESSES = np.exp(np.linspace(np.log(0.35), np.log(9.0), 18))
NODES, PLACES = 5, 33
BIN_RATIO = 0.02
ROUNDS = 30


@dataclass(frozen=True)
class CommonSpread:
    """Hold what the families together say of the spread, per model: log steepness and its error, and the weights.

    failures and families count what it rests on; shape is the Weibull shape.
    """

    log_steepness: tuple[float, ...]
    error: tuple[float, ...]
    weights: tuple[float, ...]
    failures: float
    families: int

    @property
    def shape(self) -> float:
        """Give the Weibull shape."""
        return float(np.exp(self.log_steepness[0]))


def common_spread(families: Sequence[LifeObservations]) -> CommonSpread | TooFewToSay:
    """Estimate one spread of lives for families that each have a scale of their own.

    Families in which none failed or none was ever sound take no part. Method: profile likelihood of the steepness on a
    fixed grid, each family at its own best offset; maximum and error from the parabola through the top three.
    Source: Meeker & Escobar 1998, ch. 17; Nelson 1982, ch. 12.
    """
    used = [f for f in families if f.failed and (np.maximum(f.lower, f.entry) > 0)[f.count > 0].any()]
    failures, total = float(sum(f.failed for f in used)), float(sum(f.total for f in families))
    if failures < FEWEST_SHARED:
        return TooFewToSay(f"a shared spread needs at least {FEWEST_SHARED} failures", failures, total)
    terms = _terms(used)
    steepness = np.broadcast_to(STEEPNESSES, (len(used), len(STEEPNESSES)))
    middles, errors, tops = [], [], []
    for model in MODELS:
        offset = _best_offset(terms, model, steepness, 0.0)
        profile = np.sort(log_likelihood_value(terms, model, offset, steepness), axis=0).sum(axis=0)
        top = int(np.argmax(profile))
        if not 0 < top < len(profile) - 1:
            return TooFewToSay("even together the families do not tell how widely lives spread", failures, total)
        step = float(np.log(STEEPNESSES[1] / STEEPNESSES[0]))
        slope = (profile[top + 1] - profile[top - 1]) / 2
        bend = 2 * profile[top] - profile[top + 1] - profile[top - 1]
        middles.append(float(np.log(STEEPNESSES[top]) + step * slope / bend))
        errors.append(float(step / np.sqrt(bend)))
        tops.append(float(profile[top] + slope**2 / (2 * bend)))
    weights = np.exp(np.array(tops) - max(tops))
    return CommonSpread(
        tuple(middles), tuple(errors), tuple(float(w) for w in weights / weights.sum()), failures, len(used)
    )


def lives_given_spread(
    groups: Sequence[LifeObservations], spread: CommonSpread, shares: Sequence[float] = (0.1, 0.5), level: float = 0.9
) -> list[tuple[LifeQuantile, ...]]:
    """Return quantiles of families with few failures (at least one each) at the spread they share.

    Method: the likelihood of the offset at each of NODES steepnesses about the common one, times the square root of
    the hazard (Jeffreys' allowance: d failures count as d + 1/2, so that neither limit of a small count falls short),
    mixed over steepnesses and models; limits are quantiles of the mixture. Raises ValueError where none failed.
    """
    if any(not group.failed for group in groups):
        raise ValueError("a family needs at least one failure to be placed")
    if not groups:
        return []
    terms = _terms(groups)
    point, mass = np.polynomial.hermite_e.hermegauss(NODES)
    places: dict[float, list[Values]] = {share: [] for share in shares}
    chances = []
    for model, middle, error, weight in zip(MODELS, spread.log_steepness, spread.error, spread.weights, strict=True):
        nodes = np.broadcast_to(np.exp(middle + error * point), (len(groups), NODES))
        offset, chance = _offsets(terms, model, nodes)
        chances.append((weight * (mass / mass.sum())[None, :, None] * chance).reshape(len(groups), -1))
        for share in shares:
            at = (offset + model.standard_quantile(share)) / nodes[:, :, None]
            places[share].append(at.reshape(len(groups), -1))
    chance = np.concatenate(chances, axis=1)
    centre = terms.centre[:, 0]
    return [
        tuple(_quantile(np.concatenate(places[s], axis=1)[i] + centre[i], chance[i], s, level) for s in shares)
        for i in range(len(groups))
    ]


def _terms(groups: Sequence[LifeObservations]) -> LikelihoodTerms:
    return stacked([likelihood_terms(binned(g, BIN_RATIO)) for g in groups]).repeated()


def _best_offset(terms: LikelihoodTerms, model: LifeModel, steepness: Values, allowance: float) -> Values:
    """Return the offset of greatest likelihood times exp(-allowance * offset) at each steepness (Newton's steps)."""
    offset = np.full(steepness.shape, -model.standard_quantile(0.4))
    for _ in range(ROUNDS):
        by_offset, curve = offset_derivatives(terms, model, offset, steepness)
        step = np.clip((by_offset - allowance) / np.maximum(-curve, 0.2), -2.0, 2.0)
        offset = offset + step
        if np.abs(step).max() < 1e-3:  # the next step would be its square: nothing in a likelihood that is flat here
            break
    return offset


def _offsets(terms: LikelihoodTerms, model: LifeModel, steepness: Values) -> tuple[Values, Values]:
    """Return offsets about the best one and their chances, shape (groups, NODES, PLACES), each summing to 1."""
    best = _best_offset(terms, model, steepness, 0.5)
    _, curve = offset_derivatives(terms, model, best, steepness)
    width = 1 / np.sqrt(np.maximum(-curve, 0.2))
    offset = best[..., None] + width[..., None] * np.linspace(-5.0, 9.0, PLACES)
    flat = offset.reshape(len(best), -1)
    wide = np.broadcast_to(steepness[..., None], offset.shape).reshape(flat.shape)
    value = (log_likelihood_value(terms, model, flat, wide) - flat / 2).reshape(offset.shape)
    chance = np.exp(value - value.max(axis=-1, keepdims=True))
    return offset, chance / chance.sum(axis=-1, keepdims=True)


def _quantile(place: Values, chance: Values, share: float, level: float) -> LifeQuantile:
    order = np.argsort(place, kind="stable")
    below = np.cumsum(chance[order]) - chance[order] / 2
    at = np.interp([0.5, (1 - level) / 2, (1 + level) / 2], below, place[order])
    return LifeQuantile(share, *(float(np.exp(v)) for v in at))
