"""What can be said of a life when none has failed: one-sided limits with a stated shape, or for a share alone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analytics.estimators.life_models import Values
from analytics.estimators.life_observations import LifeObservations, TooFewToSay


@dataclass(frozen=True)
class LowerLife:
    """Hold a lower limit for the age by which `share` has failed, which rests on the stated Weibull shape.

    Columns: share; lower (unit of the ages); level; shape, stated and not estimated; observations (lives); statement, a
    sentence that says all this.
    """

    share: float
    lower: float
    level: float
    shape: float
    observations: float
    statement: str


def lower_life(
    observations: LifeObservations, share: float, shape: float, level: float = 0.95
) -> LowerLife | TooFewToSay:
    """Give the lower limit for life when none has failed, taking a Weibull life of the stated shape.

    Exact: with scale e the chance that none fails is exp(-sum(age^shape - entry^shape) / e^shape), which at the limit
    equals 1 - level. Raises ValueError when some failed, or for a share, level or shape out of range. Source: Meeker &
    Escobar 1998, sec. 7.7 (no failures) and 8.5 (given shape); Nelson 1985, J. Quality Technology 17.
    """
    if not (0 < share < 1 and 0 < level < 1 and shape > 0):
        raise ValueError("share and level must lie between 0 and 1, and the shape above 0")
    if observations.failed:
        raise ValueError(f"this limit holds when none has failed; found {observations.failed:g} failures")
    rows = observations.collapsed()
    largest = float(rows.lower.max(initial=0.0))
    if not largest:
        return TooFewToSay("no component has run any distance yet", 0, observations.total)
    exposure = float(rows.count @ (np.power(rows.lower / largest, shape) - np.power(rows.entry / largest, shape)))
    if exposure <= 0:
        return TooFewToSay("no component was followed for any distance", 0, observations.total)
    scale = largest * (exposure / -np.log1p(-level)) ** (1 / shape)
    lower = float(scale * (-np.log1p(-share)) ** (1 / shape))
    statement = (
        f"none of {rows.total:g} has failed: with {level:.0%} confidence 1 in {1 / share:.3g} is worn only after "
        f"{lower:.6g} or later, if lives follow a Weibull shape of {shape:g} (stated, not estimated)"
    )
    return LowerLife(share, lower, level, shape, rows.total, statement)


def most_failed_by(observations: LifeObservations, age: float, level: float = 0.95) -> float | TooFewToSay:
    """Return the upper limit for the share failed by `age` when none that reached it had failed, without a model.

    Exact binomial: (1 - share)^n = 1 - level for the n lives sound at `age` or later (Clopper & Pearson 1934). Lives
    that entered late say nothing about the stretch before and do not count. Raises ValueError when some failed.
    """
    if observations.failed:
        raise ValueError(f"this limit holds when none has failed; found {observations.failed:g} failures")
    reached: Values = (observations.lower >= age) & (observations.entry == 0)
    number = float(observations.count[reached].sum())
    if not number:
        return TooFewToSay(f"none has reached {age:.6g}", 0, observations.total)
    return float(-np.expm1(np.log1p(-level) / number))
