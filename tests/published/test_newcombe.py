"""Newcombe (1998), Two-sided confidence intervals for the single proportion, Stat. in Medicine 17, 857-872.

Table I, examples 81/263 and 15/148. The literals are from memory of that table, recomputed with statsmodels.
"""

import pytest

from analytics.estimators.proportion import clopper_pearson, jeffreys, wilson


@pytest.mark.parametrize(
    ("interval", "failed", "inspected", "lower", "upper"),
    [
        (wilson, 81, 263, 0.2553, 0.3662),  # method 3, score
        (clopper_pearson, 81, 263, 0.2527, 0.3676),  # method 5, exact binomial
        (jeffreys, 81, 263, 0.2545, 0.3656),  # not in the table: recomputed only
        (wilson, 15, 148, 0.0624, 0.1605),  # method 3, score
        (clopper_pearson, 15, 148, 0.0578, 0.1617),  # method 5, exact binomial
    ],
)
def test_newcombe_examples(interval, failed, inspected, lower, upper):
    got = interval(failed, inspected)
    assert got.lower == pytest.approx(lower, abs=5e-5)
    assert got.upper == pytest.approx(upper, abs=5e-5)
