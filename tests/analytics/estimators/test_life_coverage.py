"""The limits hold as often as they say, model choice included (a few runs here, 1,000 a cell in the long suite)."""

from __future__ import annotations

import pytest

from analytics.estimators.life_models import LOGNORMAL, WEIBULL, LifeModel
from tests.analytics.estimators.life_coverage import coverage_table, late_entry_coverage, print_table

CELLS = [
    (model, shape, size)
    for model, shapes in ((WEIBULL, (1.5, 2.5, 4.0)), (LOGNORMAL, (0.35, 0.6, 0.9)))
    for shape in shapes
    for size in (60, 200, 1000)
]


def test_limits_hold_in_most_of_a_few_runs() -> None:
    """150 runs: a true 90 % lies outside 80-97 % once in some 10,000 cells."""
    for cell in coverage_table([(WEIBULL, 2.5, 200), (LOGNORMAL, 0.5, 60)], runs=150):
        assert 0.80 <= cell.b10 <= 0.97, cell
        assert 0.80 <= cell.median <= 0.97, cell
        assert 0.80 <= cell.count_randomised <= 0.97, cell
        assert cell.few <= 0.05, cell


@pytest.mark.long
@pytest.mark.parametrize("cell", CELLS, ids=lambda c: f"{c[0].name}-{c[1]}-{c[2]}")
def test_ninety_per_cent_limits_cover_87_to_93(cell: tuple) -> None:
    (found,) = coverage_table([cell], runs=2000)
    print_table([found])
    assert found.few <= 0.05
    for covered in (found.b10, found.median, found.count, found.count_randomised):
        assert 0.87 <= covered <= 0.93


@pytest.mark.long
@pytest.mark.parametrize("size", [60, 300])
@pytest.mark.parametrize(("model", "shape"), [(WEIBULL, 2.0), (LOGNORMAL, 0.5)], ids=["Weibull", "lognormal"])
def test_limits_hold_with_late_entry_and_mixed_censoring(model: LifeModel, shape: float, size: int) -> None:
    b10, median, few = late_entry_coverage(model, shape, size, runs=2000)
    print(f"{model.name} {shape} n={size}: B10 {b10:.3f}, median {median:.3f}, too few {few:.3f}")
    assert few <= 0.05
    assert 0.87 <= b10 <= 0.93
    assert 0.87 <= median <= 0.93
