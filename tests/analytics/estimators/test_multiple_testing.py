"""Adjusted p values: statsmodels, order, and the false discovery rate kept in simulation."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.multitest import multipletests

from analytics.estimators.multiple_testing import benjamini_hochberg


@given(st.lists(st.floats(0, 1), min_size=1, max_size=50))
@settings(deadline=None)
def test_agrees_with_statsmodels(p_values):
    assert benjamini_hochberg(p_values) == pytest.approx(multipletests(p_values, method="fdr_bh")[1])


@given(st.lists(st.floats(0, 1), min_size=1, max_size=50))
@settings(deadline=None)
def test_never_below_the_raw_value_and_never_reorders(p_values):
    adjusted = benjamini_hochberg(p_values)
    assert (adjusted >= np.array(p_values) - 1e-15).all()
    assert (np.diff(adjusted[np.argsort(p_values)]) >= -1e-12).all()


def test_no_looks_give_no_values():
    assert len(benjamini_hochberg([])) == 0


def test_refuses_what_is_not_a_probability():
    with pytest.raises(ValueError, match="must not exceed 1"):
        benjamini_hochberg([0.2, 1.2])


def test_keeps_the_false_discovery_rate():
    rng = np.random.default_rng(20260108)
    shares = []
    for _ in range(1000):
        p = rng.random(60)
        p[:15] = p[:15] ** 12
        listed = benjamini_hochberg(p) <= 0.1
        shares.append(listed[15:].sum() / max(listed.sum(), 1))
    assert np.mean(shares) <= 0.1
