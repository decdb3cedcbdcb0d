"""Likelihood ratios: by hand, drawn towards 1 on few jobs, and coverage."""

import numpy as np
import pytest

from analytics.estimators.likelihood_ratio import likelihood_ratios


def test_ratio_and_limits_by_hand():
    got = likelihood_ratios([30], [40], [20], [160])
    ratio = (30.5 / 40.5) / (20.5 / 160.5)
    error = np.sqrt(1 / 30.5 - 1 / 40.5 + 1 / 20.5 - 1 / 160.5)
    assert got.ratio == pytest.approx([ratio])
    assert got.lower == pytest.approx([ratio * np.exp(-1.959964 * error)])
    assert got.upper == pytest.approx([ratio * np.exp(1.959964 * error)])


def test_few_jobs_are_drawn_towards_one_further_than_many():
    got = likelihood_ratios([3, 300, 20, 25], [4, 400, 50, 50], [10, 1000, 50, 40], [100, 10_000, 100, 100])
    assert 1 < got.shrunk[0] < got.ratio[0]
    assert got.shrunk[1] == pytest.approx(got.ratio[1], rel=0.05)
    assert abs(np.log(got.shrunk[0] / got.ratio[0])) > abs(np.log(got.shrunk[1] / got.ratio[1]))
    assert (got.shrunk_lower < got.shrunk).all()


def test_clues_that_say_nothing_end_at_one():
    got = likelihood_ratios([10, 11, 9, 10] * 5, [40] * 20, [25, 24, 26, 25] * 5, [100] * 20)
    assert got.shrunk == pytest.approx(np.ones(20), abs=0.05)
    assert got.spread < 0.2


def test_refuses_more_with_the_clue_than_in_all():
    with pytest.raises(ValueError, match="must not exceed"):
        likelihood_ratios([5], [4], [1], [9])


def test_covers_what_it_promises():
    rng, held, repeats = np.random.default_rng(20260122), np.zeros(2), 400
    for _ in range(repeats):
        sound = rng.uniform(0.15, 0.3, 15)
        truth = np.exp(rng.normal(0, 0.4, 15)).clip(0.2, 3)
        got = likelihood_ratios(
            rng.binomial(40, sound * truth), np.full(15, 40), rng.binomial(160, sound), np.full(15, 160)
        )
        held[0] += np.mean((got.lower <= truth) & (truth <= got.upper))
        held[1] += np.mean((got.shrunk_lower <= truth) & (truth <= got.shrunk_upper))
    assert 0.93 <= held[0] / repeats <= 0.98
    # Fifteen clues leave their spread uncertain, and a posterior with a corner at no spread is not quite normal.
    assert 0.91 <= held[1] / repeats <= 0.98
