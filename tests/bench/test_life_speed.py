"""How long life with limits takes for 12 families of 30 components, from binned counts."""

from __future__ import annotations

import time

import numpy as np
import pytest

from analytics.estimators.life_estimate import LifeEstimate, life_estimates
from analytics.estimators.life_observations import LifeObservations


def families(number: int = 360, inspections: int = 55_000) -> list[LifeObservations]:
    """Return current-status counts in bins of 0.5 % (20 million inspections in all), as the query hands them over."""
    rng = np.random.default_rng(3)
    width = np.log1p(0.005)
    groups = []
    for _ in range(number):
        life = rng.uniform(8e4, 3e5) * rng.weibull(rng.uniform(1.3, 4), inspections)
        seen = 120e3 * np.exp(0.6 * rng.standard_normal(inspections))
        cell, count = np.unique(np.floor(np.log(seen) / width) * 2 + (life <= seen), return_counts=True)
        age, failed = np.exp((cell // 2 + 0.5) * width), cell % 2 == 1
        groups.append(LifeObservations(np.where(failed, 0, age), np.where(failed, age, np.inf), count))
    return groups


@pytest.mark.bench
def test_life_with_limits_of_360_components() -> None:
    groups = families()
    start = time.process_time()
    answers = life_estimates(groups)
    seconds = time.process_time() - start
    print(f"\n360 lives with limits, both models, B10 and median: {seconds:.2f} s, {seconds / 0.36:.2f} ms each")
    assert all(isinstance(a, LifeEstimate) for a in answers)
    assert seconds < 1.2
