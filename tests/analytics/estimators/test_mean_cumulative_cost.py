"""The mean cumulative cost: the mean cumulative number where each costs 1, its jackknife by brute force, coverage."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.estimators.mean_cumulative_cost import mean_cumulative_cost
from analytics.estimators.mean_cumulative_function import mean_cumulative_function


def sample(rng: np.random.Generator, jobs: int) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    end = rng.integers(5, 30, jobs).astype(float)
    owner = rng.integers(0, jobs, jobs)
    when = np.ceil(rng.random(jobs) * end[owner])
    return end, owner, when, rng.gamma(2.0, 50.0, jobs)


def test_where_each_costs_one_it_is_the_mean_cumulative_number() -> None:
    rng = np.random.default_rng(1)
    end, owner, when, _ = sample(rng, 40)
    ours = mean_cumulative_cost(end, np.arange(40), owner, when, np.ones(40), [10.0, 20.0])
    theirs = mean_cumulative_function(np.zeros(40), end, owner, when)
    assert ours.mean == pytest.approx(theirs.at([10.0, 20.0]))
    place = np.searchsorted(theirs.age, [10.0, 20.0], side="right") - 1
    assert np.sqrt(ours.variance * 39 / 40) == pytest.approx(theirs.standard_error[place], rel=1e-6)


def test_units_with_several_jobs_are_added_before_they_are_squared() -> None:
    rng = np.random.default_rng(2)
    end, owner, when, cost = sample(rng, 12)
    unit = np.arange(12) // 3
    got = mean_cumulative_cost(end, unit, owner, when, cost, [25.0])

    def mean(weight: np.ndarray) -> float:
        total = 0.0
        for job, time, money in zip(owner, when, cost, strict=True):
            if time <= 25:
                total += weight[job] * money / float(np.sum(weight[end >= time]))
        return total

    slope = [(mean(np.ones(12) + 1e-5 * (np.arange(12) == j)) - mean(np.ones(12))) / 1e-5 for j in range(12)]
    by_unit = np.bincount(unit, slope)
    assert got.mean[0] == pytest.approx(mean(np.ones(12)))
    assert got.variance[0] == pytest.approx(np.sum(by_unit**2) * 4 / 3, rel=1e-3)


def test_the_order_of_rows_changes_nothing() -> None:
    rng = np.random.default_rng(3)
    end, owner, when, cost = sample(rng, 20)
    order = rng.permutation(20)
    once = mean_cumulative_cost(end, np.arange(20), owner, when, cost, [12.0])
    again = mean_cumulative_cost(end, np.arange(20), owner[order], when[order], cost[order], [12.0])
    assert (once.mean[0], once.variance[0]) == (again.mean[0], again.variance[0])


def test_limits_cover_the_true_cost() -> None:
    rng = np.random.default_rng(4)
    truth, covered = 0.2 * 100.0, 0
    for _ in range(200):
        count = rng.poisson(0.2, 400)
        owner = np.repeat(np.arange(400), count)
        when, cost = rng.random(len(owner)) * 12, rng.gamma(2.0, 50.0, len(owner))
        end = rng.choice([6.0, 24.0], 400)
        seen = when <= end[owner]
        found = mean_cumulative_cost(end, np.arange(400), owner[seen], when[seen], cost[seen], [12.0])
        low, high = found.limits()
        covered += low[0] <= truth <= high[0]
    assert covered >= 180


def test_an_event_after_the_end_is_refused() -> None:
    with pytest.raises(ValueError, match="within the observation"):
        mean_cumulative_cost([5.0], [0], [0], [6.0], [1.0], [10.0])
