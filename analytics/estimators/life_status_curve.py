"""The life curve from inspections that tell only "failed by now" or "not yet" (current status)."""

from __future__ import annotations

import numpy as np

from analytics.estimators.life_models import Values
from analytics.estimators.life_observations import LifeObservations


def pool_adjacent_violators(share: Values, weight: Values) -> Values:
    """Return the non-decreasing sequence nearest to `share` in weighted least squares, same shape.

    Weights must be above 0. Source: Ayer et al. 1955, Ann. Math. Statist. 26; the same values maximise the
    likelihood of current-status data.
    """
    level: list[float] = []
    mass: list[float] = []
    size: list[int] = []
    for value, w in zip(share.tolist(), weight.tolist(), strict=True):
        level.append(value)
        mass.append(w)
        size.append(1)
        while len(level) > 1 and level[-2] >= level[-1]:
            joint = mass[-2] + mass[-1]
            level[-2:] = [(level[-2] * mass[-2] + level[-1] * mass[-1]) / joint]
            mass[-2:] = [joint]
            size[-2:] = [size[-2] + size[-1]]
    return np.repeat(level, size)


def status_curve(observations: LifeObservations) -> tuple[Values, Values]:
    """Return the distinct inspection ages and the share failed by each, both of one shape.

    Raises ValueError when a row is exact, an interval, or entered late.
    """
    rows = observations.collapsed()
    sound = np.isinf(rows.upper)
    if not (sound | ((rows.lower == 0) & (rows.upper > 0))).all() or rows.entry.any():
        raise ValueError("a status curve needs rows that are only 'failed by now' or 'not yet', none entered late")
    age, place = np.unique(np.where(sound, rows.lower, rows.upper), return_inverse=True)
    failed = np.bincount(place, weights=np.where(sound, 0.0, rows.count), minlength=len(age))
    seen = np.bincount(place, weights=rows.count, minlength=len(age)).astype(float)
    return age, pool_adjacent_violators(failed / seen, seen)
