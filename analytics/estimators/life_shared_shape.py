"""Lives of several families of one component kind that share one spread, for families with few failures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analytics.estimators.life_comparison import likelihood_weights
from analytics.estimators.life_confidence import SignedRoot, mixed_limit
from analytics.estimators.life_estimate import LifeQuantile
from analytics.estimators.life_models import MODELS, LifeModel, Values
from analytics.estimators.life_observations import LifeObservations, TooFewToSay
from analytics.estimators.life_regression import RegressionFit, RegressionRows, regression_fit, regression_rows


@dataclass(frozen=True)
class SharedShape:
    """Hold one family's life under a spread shared with its kind.

    Columns: quantiles; level; failures, observations (this family); shared_failures, families (what the spread rests
    on); statement, a sentence that says the spread is shared.
    """

    quantiles: tuple[LifeQuantile, ...]
    level: float
    failures: float
    observations: float
    shared_failures: float
    families: int
    statement: str


def shared_shape(
    families: Mapping[str, LifeObservations], shares: Sequence[float] = (0.1, 0.5), level: float = 0.9
) -> dict[str, SharedShape | TooFewToSay]:
    """Estimate each family's quantiles with its own scale and one spread for all.

    Families in which none failed, or in which all rows are "failed by now", take no part and come back as too few to
    say. Method: regression on family indicators; profile limits mixed over both models as in life_limits. Source:
    Meeker & Escobar 1998, ch. 17 (common shape); Nelson 1982, ch. 12.
    """
    answers: dict[str, SharedShape | TooFewToSay] = {}
    used = []
    for name in sorted(families):
        reason = _left_out(families[name])
        if reason:
            answers[name] = TooFewToSay(reason, families[name].failed, families[name].total)
        else:
            used.append(name)
    if used:
        answers.update(_estimate(used, families, shares, level))
    return {name: answers[name] for name in families}


def _left_out(observations: LifeObservations) -> str:
    if not observations.failed:
        return "none has failed, so the family has no life of its own to place"
    if not (np.maximum(observations.lower, observations.entry) > 0)[observations.count > 0].any():
        return "all had failed by the time they were seen"
    return ""


def _estimate(
    used: list[str], families: Mapping[str, LifeObservations], shares: Sequence[float], level: float
) -> dict[str, SharedShape | TooFewToSay]:
    groups = [families[name].collapsed() for name in used]
    joint = LifeObservations(
        *(np.concatenate([getattr(g, c) for g in groups]) for c in ("lower", "upper", "count", "entry"))
    )
    place = np.repeat(np.arange(len(used)), [len(g.lower) for g in groups])
    rows = regression_rows(joint, np.eye(len(used))[place])
    fits = [regression_fit(rows, model, rows.design) for model in MODELS]
    failures = float(sum(g.failed for g in groups))
    if not all(fit.found for fit in fits):
        reason = "even together the families do not tell how widely lives spread"
        return {name: TooFewToSay(reason, g.failed, g.total) for name, g in zip(used, groups, strict=True)}
    weights = likelihood_weights(fits)
    answers: dict[str, SharedShape | TooFewToSay] = {}
    for i, (name, group) in enumerate(zip(used, groups, strict=True)):
        quantiles = tuple(_quantile(rows, fits, weights, i, share, level) for share in shares)
        statement = (
            f"the spread of lives is shared by {len(used)} families of this component ({failures:g} failures); "
            f"this family's own {group.failed:g} failures place it"
        )
        answers[name] = SharedShape(quantiles, level, group.failed, group.total, failures, len(used), statement)
    return answers


def _quantile(
    rows: RegressionRows,
    fits: list[RegressionFit],
    weights: tuple[float, ...],
    family: int,
    share: float,
    level: float,
) -> LifeQuantile:
    z = [model.standard_quantile(share) for model in MODELS]
    bests = [float((fit.coefficients[family] + s) / fit.steepness) for fit, s in zip(fits, z, strict=True)]
    roots = [
        _quantile_root(rows, model, fit, family, s, best)
        for model, fit, s, best in zip(MODELS, fits, z, bests, strict=True)
    ]
    spread = max(_error(fit, family, best) for fit, best in zip(fits, bests, strict=True))
    start = float(np.dot(weights, bests))
    tails = ((1 - level) / 2, (1 + level) / 2)
    values = [start, *(mixed_limit(roots, weights, start, spread, t) for t in tails)]
    return LifeQuantile(share, *(float(np.exp(v + rows.centre)) for v in values))


def _quantile_root(
    rows: RegressionRows, model: LifeModel, fit: RegressionFit, family: int, z: float, best: float
) -> SignedRoot:
    inside: Values = rows.design[:, family]
    others = np.delete(rows.design, family, axis=1)
    held = RegressionFit(np.delete(fit.coefficients, family), fit.steepness, 0.0, fit.information, found=True)

    def root(value: float) -> float:
        limited = regression_fit(rows, model, others, value * inside, z * inside, held)
        size = np.sqrt(max(2 * (fit.log_likelihood - limited.log_likelihood), 0.0))
        return float(np.copysign(size, best - value))

    return root


def _error(fit: RegressionFit, family: int, best: float) -> float:
    slope = np.zeros(len(fit.information))
    slope[family], slope[-1] = 1 / fit.steepness, -best / fit.steepness
    return float(np.sqrt(max(float(slope @ np.linalg.solve(fit.information, slope)), 1e-8)))
