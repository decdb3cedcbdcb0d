"""Penicillin and rabbits: Agresti, Categorical Data Analysis (1990), pages 231-237; R's help of `mantelhaen.test`.

The help page gives the counts and p values (.040 exact); the odds ratios and the limits are R's output, from memory.
"""

import numpy as np
import pytest

from analytics.estimators.exact_tests import exact_odds_ratio, mantel_haenszel

# Five penicillin levels: [[injected at once: cured, died], [delayed: cured, died]].
RABBITS = np.array([[[0, 6], [0, 5]], [[3, 3], [0, 6]], [[6, 0], [2, 4]], [[5, 1], [6, 0]], [[2, 0], [5, 0]]])


def test_exact_conditional_test():
    got = exact_odds_ratio(RABBITS)
    assert got.p_value == pytest.approx(0.03994, abs=5e-6)
    assert got.estimate == pytest.approx(10.361, abs=5e-4)
    assert got.strata == 3


def test_mantel_haenszel_odds_ratio_and_limits():
    got = mantel_haenszel(RABBITS)
    assert got.estimate == pytest.approx(7)
    assert (got.lower, got.upper) == pytest.approx((1.026713, 47.725133), abs=5e-6)
