"""Comparisons by hand: the group left out of its own expectation, exact chances, and the number of jobs needed."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from scipy import stats

from analytics.compare import against_others, chance_of, jobs_needed
from tests.rebuilt_workshop import AS_OF, back, workshop
from tests.small_workshop import shown


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


def test_two_people_with_the_same_work_by_hand(tmp_path: Path) -> None:
    """MK and RS rebuilt 20 alike each; 6 of MK's and 2 of RS's came back on day 100 by our work.

    With 8 comebacks there are no bands. Days followed in the bands of age (30, 61, 92, 182 and 366 days; day 100 is the
    9th of the third), in weeks rounded up: MK 20x30, 20x61, 14x92 + 6x9, 14x182, 14x366 = 600, 1220, 1342, 2548, 5124
    days = 86 + 175 + 192 + 364 + 732 = 1549 weeks; RS 600, 1220, 18x92 + 2x9, 18x182, 18x366 = 600, 1220, 1674, 3276,
    6588 days = 86 + 175 + 240 + 468 + 942 = 1911 weeks.
    """
    jobs, comebacks = [], []
    for who, bad in (("MK", 6), ("RS", 2)):
        for i in range(20):
            jobs.append({"job": f"{who}{i:02}", "technician": who})
            comebacks += [back(f"{who}{i:02}", 100)] if i < bad else []
    folder = workshop(tmp_path, jobs, comeback=comebacks)
    answer = shown(folder, "compare", "--of", "technician", "--as-of", AS_OF.isoformat())
    told = {row["group"]: row for row in answer["rows"]}
    mine, theirs = told["MK"], told["RS"]
    assert (mine["observed"], theirs["observed"], mine["jobs"]) == (6, 2, 20)
    assert mine["expected"] == pytest.approx(2 * 1549 / 1911)
    assert theirs["expected"] == pytest.approx(6 * 1911 / 1549)
    assert mine["ratio"] == pytest.approx(6 / (2 * 1549 / 1911))
    # Given 8 comebacks, those of MK are binomial; exact limits (scipy) of that share, as a ratio of rates.
    exact = stats.binomtest(6, 8).proportion_ci(0.95, "exact")
    assert mine["low"] == pytest.approx(exact.low / (1 - exact.low) * 1911 / 1549, rel=1e-6)
    assert mine["high"] == pytest.approx(exact.high / (1 - exact.high) * 1911 / 1549, rel=1e-6)
    # Twice the smaller tail, and two looks at the same eight comebacks: Benjamini-Hochberg leaves equal chances as they are.
    chance = 2 * stats.binom.sf(5, 8, 1549 / (1549 + 1911))
    assert mine["chance"] == pytest.approx(chance)
    assert theirs["chance"] == pytest.approx(chance)
    assert not mine["stands_out"]
    # Told from 1 with 80 % power: (1.95996 + 0.84162)^2 / log(1.5)^2 = 47.74 comebacks at 1.5 times what is expected.
    assert mine["jobs_needed"] == math.ceil(47.742 / 1.5 / (mine["expected"] / 20))
