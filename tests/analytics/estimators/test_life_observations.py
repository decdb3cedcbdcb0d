"""Life observations: what is refused, what binning keeps, and that row order means nothing."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.estimators.life_estimate import LifeEstimate, life_estimate
from analytics.estimators.life_observations import LifeObservations, binned, without_unknown


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (([1.0], [np.nan]), r"upper is unknown \(NaN\) in 1 of 1 rows, first in row 1"),
        (([1.0, 5.0], [2.0, 3.0]), "upper is below lower in 1 of 2 rows, first in row 2"),
        (([-1.0], [2.0]), "lower must be finite and 0 or more"),
        (([1.0], [2.0], [-1.0]), "count must be finite and 0 or more"),
        (([1.0, 2.0], [2.0]), "must have one length; found 2, 1, 2 and 2"),
        (([0.0], [2.0], [1.0], [3.0]), "lies at or before the entry age"),
    ],
)
def test_refuses_in_one_sentence(arguments: tuple[list[float], ...], sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        LifeObservations(*arguments)


def test_unknown_ages_are_left_out_and_counted() -> None:
    known, left_out = without_unknown([1.0, np.nan, 3.0], [np.inf, 4.0, np.nan], [2.0, 3.0, 4.0])
    assert (known.total, left_out) == (2.0, 7.0)


def test_late_entry_turns_failed_by_now_into_an_interval() -> None:
    rows = LifeObservations([0.0], [9.0], [1.0], [4.0]).collapsed()
    assert (rows.lower[0], rows.upper[0]) == (4.0, 9.0)


def test_identical_rows_are_summed_whatever_their_order() -> None:
    first = LifeObservations([1, 0, 1], [np.inf, 2, np.inf], [1, 4, 2]).collapsed()
    second = LifeObservations([0, 1, 1], [2, np.inf, np.inf], [4, 2, 1]).collapsed()
    assert first.count.tolist() == second.count.tolist() == [4, 3]


@pytest.mark.parametrize("ratio", [0.0, 0.2])
def test_bins_outside_their_range_are_refused(ratio: float) -> None:
    with pytest.raises(ValueError, match="bin ratio"):
        binned(LifeObservations([1.0], [2.0]), ratio)


@pytest.mark.parametrize("shape", [1.5, 4.0])
def test_binned_b10_stays_within_a_thousandth(shape: float) -> None:
    rng = np.random.default_rng(11)
    life = 150_000 * rng.weibull(shape, 380)
    seen = 120_000 * np.exp(0.5 * rng.standard_normal(380))
    observations = LifeObservations(np.where(life <= seen, 0, seen), np.where(life <= seen, seen, np.inf))
    plain, grouped = life_estimate(observations), life_estimate(binned(observations))
    assert isinstance(plain, LifeEstimate)
    assert isinstance(grouped, LifeEstimate)
    assert len(binned(observations).lower) < len(observations.lower)
    for a, b in zip(plain.quantiles, grouped.quantiles, strict=True):
        assert (b.estimate, b.lower, b.upper) == pytest.approx((a.estimate, a.lower, a.upper), rel=1e-3)


def test_binning_keeps_counts_kinds_and_exactness() -> None:
    rng = np.random.default_rng(5)
    age = rng.uniform(1, 9, 2000)
    observations = LifeObservations(
        np.concatenate([age, age, age * 0, age]),
        np.concatenate([age, age * 1.001, age, np.full(2000, np.inf)]),
        None,
        np.concatenate([np.zeros(6000), age / 2]),
    )
    grouped = binned(observations)
    assert grouped.total == observations.total
    assert grouped.failed == observations.failed
    assert grouped.count[grouped.lower == grouped.upper].sum() == 2000
    assert len(grouped.lower) < 4000
