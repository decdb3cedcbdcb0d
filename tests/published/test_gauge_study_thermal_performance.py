"""Gauge study of Houf & Berman (1988), "Statistical analysis of power module thermal test equipment performance".

IEEE Trans. Components, Hybrids, and Manufacturing Technology 11, 516-520: ten modules, three operators, three
readings each (deg C per watt x 100). Data seen in two stored copies that agree. The variance components
are those Montgomery prints for the same data (Design and Analysis of Experiments; from memory, and
recomputed here by an independent route: statsmodels' analysis of variance).
"""

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from statsmodels.stats.anova import anova_lm

from analytics.estimators.gauge_study import GaugeStudy, gauge_study
from analytics.estimators.variance_components import restricted_likelihood

READINGS = """
37 38 37 41 41 40 41 42 41
42 41 43 42 42 42 43 42 43
30 31 31 31 31 31 29 30 28
42 43 42 43 43 43 42 42 42
28 30 29 29 30 29 31 29 29
42 42 43 45 45 45 44 46 45
25 26 27 28 28 30 29 27 27
40 40 40 43 42 42 43 43 41
25 25 25 27 29 28 26 26 26
35 34 34 35 35 34 35 34 35
"""
VALUES = np.array(READINGS.split(), dtype=float)
PARTS = [part for part in range(10) for _ in range(9)]
OPERATORS = [operator for _ in range(10) for operator in "AAABBBCCC"]


def study(**options: object) -> GaugeStudy:
    found = gauge_study(VALUES, PARTS, OPERATORS, **options)
    assert isinstance(found, GaugeStudy)
    return found


def test_analysis_of_variance_lines() -> None:
    # Montgomery's table: 3935.96, 39.27, 48.51, 30.67 (from memory).
    sums = [line.sum_of_squares for line in study().table]
    assert sums == pytest.approx([3935.96, 39.27, 48.51, 30.67], abs=0.005)
    assert [line.degrees for line in study().table] == [9, 2, 18, 60]


def test_variance_components() -> None:
    # 48.29 part, 0.56 operator, 0.73 interaction, 0.51 repeatability (from memory).
    found = study(tolerance=40)
    assert found.interaction_kept
    assert found.part.estimate == pytest.approx(48.29, abs=0.005)
    assert found.operator.estimate == pytest.approx(0.56, abs=0.006)
    assert found.interaction.estimate == pytest.approx(0.73, abs=0.005)
    assert found.repeatability.estimate == pytest.approx(0.51, abs=0.005)
    assert found.gauge.estimate == pytest.approx(1.80, abs=0.015)
    assert found.tolerance_ratio == pytest.approx(6 * np.sqrt(found.gauge.estimate) / 40)


def test_table_agrees_with_an_independent_library() -> None:
    frame = pd.DataFrame({"y": VALUES, "part": PARTS, "operator": OPERATORS})
    oracle = anova_lm(smf.ols("y ~ C(part) * C(operator)", frame).fit())
    assert [line.sum_of_squares for line in study().table] == pytest.approx(list(oracle["sum_sq"]))


def test_without_interaction_it_is_pooled_into_repeatability() -> None:
    found = study(interaction="drop")
    assert not found.interaction_kept
    assert found.repeatability.estimate == pytest.approx((48.51 + 30.67) / 78, abs=2e-4)
    assert found.interaction.estimate == 0


def test_restricted_likelihood_gives_the_same_components() -> None:
    # For a balanced study with positive components both routes have one answer.
    part = np.repeat(np.arange(10), 9)
    operator = np.tile(np.repeat(np.arange(3), 3), 10)
    cell = part * 3 + operator
    found, _ = restricted_likelihood(VALUES, cell, {"part": part, "operator": operator, "interaction": cell})
    whole = study()
    expected = [whole.repeatability, whole.part, whole.operator, whole.interaction]
    assert list(found) == pytest.approx([component.estimate for component in expected], rel=2e-4)
