"""Expectation from the others: by hand, the exact test with one stratum, and coverage."""

import numpy as np
import pytest

from analytics.estimators.expectation import expect_from_others, ratio_to_others
from analytics.estimators.poisson_rate import rate_ratio


def test_a_group_is_left_out_of_its_own_expectation():
    found = expect_from_others([[2, 1], [3, 0], [5, 2]], [[10, 4], [20, 0], [30, 6]])
    assert found.expected[0] == pytest.approx(10 * 8 / 50 + 4 * 2 / 6)
    assert found.variance[0] == pytest.approx(100 * 8 / 50**2 + 16 * 2 / 36)
    assert found.observed.tolist() == [3, 3, 7]
    assert (found.left_out == 0).all()


def test_own_events_do_not_move_the_expectation():
    exposure = [[10.0, 4.0], [20.0, 5.0], [30.0, 6.0]]
    one = expect_from_others([[2, 1], [3, 0], [5, 2]], exposure)
    two = expect_from_others([[90, 30], [3, 0], [5, 2]], exposure)
    assert one.expected[0] == two.expected[0]


def test_exposure_that_nobody_shares_is_set_apart():
    found = expect_from_others([[2, 9], [4, 0]], [[10, 30], [10, 0]])
    assert found.left_out.tolist() == [0.75, 0.0]
    assert found.observed.tolist() == [2, 4]


def test_one_stratum_gives_the_exact_limits_against_the_others():
    events, exposure = np.array([[4], [7], [9]]), np.array([[10.0], [30.0], [50.0]])
    got = ratio_to_others(expect_from_others(events, exposure))
    others = events.sum() - events[:, 0], exposure.sum() - exposure[:, 0]
    exact = rate_ratio(events[:, 0], exposure[:, 0], *others)
    assert got.estimate == pytest.approx(exact.estimate)
    assert got.lower == pytest.approx(exact.lower)
    assert got.upper == pytest.approx(exact.upper)


@pytest.mark.parametrize(
    ("observed", "exposure", "words"),
    [([[1, 0]], [[0, 1]], "no exposure"), ([[0], [1]], [[0], [1]], "group 0 has no exposure"), ([1], [1], "strata")],
)
def test_refuses_impossible_input_in_words(observed, exposure, words):
    with pytest.raises(ValueError, match=words):
        expect_from_others(observed, exposure)


def test_says_when_nothing_is_expected():
    with pytest.raises(ValueError, match="nothing expected"):
        ratio_to_others(expect_from_others([[3], [0]], [[5], [5]]))


def test_covers_what_it_promises_although_the_others_are_few():
    rng, held, repeats = np.random.default_rng(20260111), 0.0, 600
    rates = np.array([0.02, 0.05, 0.1])
    for _ in range(repeats):
        exposure = rng.integers(20, 120, (4, 3))
        found = expect_from_others(rng.poisson(exposure * rates), exposure)
        if (found.expected > 0).all():
            got = ratio_to_others(found)
            held += np.mean((got.lower <= 1) & (got.upper >= 1)) / repeats
    assert 0.945 <= held <= 0.99
