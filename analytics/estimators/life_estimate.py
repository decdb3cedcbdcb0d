"""The life of one component: both models, the quantiles asked for, and limits that include the choice of model."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analytics.estimators.life_fit import (
    NO_MAXIMUM,
    LifeFit,
    Maxima,
    life_fit,
    maximise,
    no_interior_maximum,
    working_rows,
)
from analytics.estimators.life_likelihood import LikelihoodTerms, likelihood_terms, stacked
from analytics.estimators.life_limits import model_weights, quantile_estimates, quantile_limits
from analytics.estimators.life_models import MODELS, LifeModel, Values
from analytics.estimators.life_observations import LifeObservations, TooFewToSay

FEWEST_FAILURES = 5
"""Below this many failures no two-parameter life is fitted; limits with a stated or shared shape are what is left."""
MANY_MAXIMA = "late entry leaves the likelihood with more than one maximum, so no life can be read from it"
STACK_ELEMENTS = 16_000


@dataclass(frozen=True)
class LifeQuantile:
    """Hold the age by which `share` has failed: estimate, and limits of the level asked for.

    lower is 0 and upper inf where the data set no limit on that side. Ages in the unit of the observations.
    """

    share: float
    estimate: float
    lower: float
    upper: float


@dataclass(frozen=True)
class LifeEstimate:
    """Hold the life of one component kind.

    Columns: quantiles in the order asked; level of the limits; fits, one a model; weights, one a model, summing to
    1 (proportional to the maximised likelihoods); failures and observations (lives).
    """

    quantiles: tuple[LifeQuantile, ...]
    level: float
    fits: tuple[LifeFit, ...]
    weights: tuple[float, ...]
    failures: float
    observations: float

    @property
    def best(self) -> LifeFit:
        """Give the fit of the greater likelihood."""
        return self.fits[int(np.argmax(self.weights))]


def life_estimate(
    observations: LifeObservations,
    shares: Sequence[float] = (0.1, 0.5),
    level: float = 0.9,
    inflation: float = 1.0,
) -> LifeEstimate | TooFewToSay:
    """Estimate the ages by which each share has failed, with limits that include the choice of model.

    inflation widens the limits where several rows belong to one unit (life_clusters.cluster_inflation); 1 takes rows
    as independent. Raises ValueError for a share or level outside 0 to 1. Method and source: life_limits.
    """
    return life_estimates([observations], shares, level, [inflation])[0]


def life_estimates(
    groups: Sequence[LifeObservations],
    shares: Sequence[float] = (0.1, 0.5),
    level: float = 0.9,
    inflation: Sequence[float] | None = None,
) -> list[LifeEstimate | TooFewToSay]:
    """Estimate many component lives at once; the same answers as life_estimate one by one, in the same order."""
    for name, value in [("level", level), *(("share", s) for s in shares)]:
        if not 0 < value < 1:
            raise ValueError(f"{name} must lie between 0 and 1; found {value}")
    answers: list[LifeEstimate | TooFewToSay | None] = [too_few_for_life(g) for g in groups]
    wanted = [i for i, answer in enumerate(answers) if answer is None]
    terms = {i: likelihood_terms(working_rows(groups[i])) for i in wanted}
    for block in _blocks(wanted, terms):
        factor = np.array([1.0 if inflation is None else inflation[i] for i in block])
        results = _estimate_block([groups[i] for i in block], [terms[i] for i in block], shares, level, factor)
        for i, result in zip(block, results, strict=True):
            answers[i] = result
    return [a for a in answers if a is not None]


def life_middles(groups: Sequence[LifeObservations], share: float) -> list[float | None]:
    """Estimate the age by which a share has failed, without limits: None where a life cannot be estimated.

    The same as the estimate of life_estimates at a fraction of the work, for answers that ask only how far it moves.
    """
    middles: list[float | None] = [None] * len(groups)
    wanted = [i for i, group in enumerate(groups) if too_few_for_life(group) is None]
    terms = {i: likelihood_terms(working_rows(groups[i])) for i in wanted}
    for block in _blocks(wanted, terms):
        stack = stacked([terms[i] for i in block])
        maxima = [maximise(stack, model) for model in MODELS]
        weights, middle = model_weights(maxima), quantile_estimates(stack, MODELS, maxima, [share])
        for place, i in enumerate(block):
            middles[i] = float(np.exp(middle[place, 0])) if weights[:, place].any() else None
    return middles


def too_few_for_life(observations: LifeObservations) -> TooFewToSay | None:
    """Say why no two-parameter life can be read from the observations, or return None."""
    reason = no_interior_maximum(observations)
    if not reason and observations.failed < FEWEST_FAILURES:
        reason = f"a life and its spread need at least {FEWEST_FAILURES} failures"
    return TooFewToSay(reason, observations.failed, observations.total) if reason else None


def _blocks(wanted: list[int], terms: dict[int, LikelihoodTerms]) -> list[list[int]]:
    """Cut the list, longest data set first, into blocks whose padded arrays stay small enough for the cache."""
    blocks: list[list[int]] = []
    width = 0
    for i in sorted(wanted, key=lambda i: (-_length(terms[i]), i)):
        if not blocks or width * (len(blocks[-1]) + 1) > STACK_ELEMENTS:
            blocks.append([])
            width = _length(terms[i])
        blocks[-1].append(i)
    return blocks


def _length(terms: LikelihoodTerms) -> int:
    return max(1, *(len(a) for a in (terms.failed, terms.sound, terms.exact, terms.good)))


def _estimate_block(
    groups: list[LifeObservations],
    terms: list[LikelihoodTerms],
    shares: Sequence[float],
    level: float,
    inflation: Values,
) -> list[LifeEstimate | TooFewToSay]:
    stack = stacked(terms)
    maxima = [maximise(stack, model) for model in MODELS]
    weights = model_weights(maxima)
    limits = quantile_limits(stack, MODELS, maxima, shares, level, inflation)
    answers: list[LifeEstimate | TooFewToSay] = []
    for i, observations in enumerate(groups):
        if not weights[:, i].any():
            answers.append(TooFewToSay(NO_MAXIMUM, observations.failed, observations.total))
            continue
        quantiles = tuple(
            LifeQuantile(share, *(float(np.exp(a[i, j])) for a in (limits.estimate, limits.lower, limits.upper)))
            for j, share in enumerate(shares)
        )
        if not all(q.lower <= q.estimate <= q.upper for q in quantiles):
            answers.append(TooFewToSay(MANY_MAXIMA, observations.failed, observations.total))
            continue
        kept = [m for m in range(len(MODELS)) if maxima[m].found[i]]
        fits = tuple(_fit(MODELS[m], stack, maxima[m], i, observations) for m in kept)
        answers.append(
            LifeEstimate(
                quantiles,
                level,
                fits,
                tuple(float(weights[m, i]) for m in kept),
                observations.failed,
                observations.total,
            )
        )
    return answers


def _fit(model: LifeModel, stack: LikelihoodTerms, best: Maxima, i: int, observations: LifeObservations) -> LifeFit:
    return life_fit(model, float(stack.centre[i]), best.item(i), observations)
