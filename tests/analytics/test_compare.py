"""Comparisons by hand: the group left out of its own expectation, exact chances, and the number of jobs needed."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from scipy import stats

from analytics.compare import against_others, chance_of, jobs_needed


def test_expectation_comes_from_the_others_in_each_stratum() -> None:
    frame = pl.DataFrame(
        {
            "group": ["A", "A", "B", "B"], "stratum": [0, 1, 0, 1], "events": [4, 1, 6, 9],
            "weeks": [100.0, 50.0, 300.0, 90.0], "jobs": [10, 5, 30, 9],
        }
    )  # fmt: skip
    told = {row["group"]: row for row in against_others(frame, ["stratum"]).iter_rows(named=True)}
    assert told["A"]["expected"] == pytest.approx(100 * 6 / 300 + 50 * 9 / 90)
    assert told["B"]["expected"] == pytest.approx(300 * 4 / 100 + 90 * 1 / 50)
    assert told["A"]["observed"] == 5
    assert told["A"]["jobs"] == 15


def test_chance_is_the_exact_conditional_one() -> None:
    # One stratum: given 9 events in all, those of the group are binomial with its share of the exposure.
    observed, expected, others = 6.0, 2.0, 3.0
    exposure_share = expected / (expected + others)
    wanted = 2 * min(stats.binom.sf(5, 9, exposure_share), stats.binom.cdf(6, 9, exposure_share))
    got = chance_of(np.array([observed]), np.array([expected]), np.array([expected**2 / others]))
    assert got[0] == pytest.approx(wanted)


def test_with_so_many_jobs_four_in_five_would_tell() -> None:
    rate = 0.05
    needed = jobs_needed(expected=rate * 100, jobs=100)
    rng = np.random.default_rng(1)
    events = rng.poisson(1.5 * rate * needed, 4000)
    z = (np.log(events) - np.log(rate * needed)) * np.sqrt(events)
    assert np.mean(z > 1.96) == pytest.approx(0.8, abs=0.04)
