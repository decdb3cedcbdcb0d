"""Drift chart: planted drift is found in time, drift-free gauges stay quiet, "since when" is honest."""

import numpy as np
import pytest

from analytics.estimators.drift_chart import DriftChart, EvidenceStream, drift_chart, drift_threshold
from analytics.estimators.interval import TooFew

YEARS = 10
JOBS = 600


def evidence(
    random: np.random.Generator, start: int | None = None, shift: float = 1.0
) -> tuple[np.ndarray, list[EvidenceStream]]:
    """Draw ten years of one depth gauge: jobs at irregular times, a master check a month, paired readings.

    Unit: standard deviations of a single reading. The pack residual of a job spreads 1.5 of these, and a
    gauge that reads high makes the technician leave the pack thinner by as much.
    """
    jobs = np.sort(random.uniform(0, YEARS * 365, JOBS))
    checks = np.arange(30.0, YEARS * 365, 30)
    pairs = np.sort(random.uniform(0, YEARS * 365, 80))
    begin = np.inf if start is None else jobs[start]
    masters = random.normal(0, 1, checks.size) + shift * (checks >= begin)
    paired = random.normal(0.3, np.sqrt(2), pairs.size) + shift * (pairs >= begin)
    packs = random.normal(40, 1.5, JOBS) - shift * (jobs >= begin)
    return jobs, [
        EvidenceStream("master checks", checks, masters, centre=0.0, deviation=1.0),
        EvidenceStream("paired readings", pairs, paired),
        EvidenceStream("packs", jobs, packs, gain=-1.0),
    ]


@pytest.fixture(scope="module")
def threshold() -> float:
    """Find the threshold for three gauges of this kind watched together."""
    designs = []
    for seed in range(3):
        _, streams = evidence(np.random.default_rng(4400 + seed))
        chart = drift_chart(streams, 1.0, 50.0)
        assert isinstance(chart, DriftChart)
        designs.append(chart.expected)
    return drift_threshold(designs, YEARS, alarms_per_year=0.1, replicates=200)


def planted(seed: int, threshold: float) -> tuple[np.ndarray, int, DriftChart, float]:
    random = np.random.default_rng(seed)
    start = int(random.integers(150, JOBS - 60))
    sign = float(random.choice([-1, 1]))
    jobs, streams = evidence(random, start, sign)
    chart = drift_chart(streams, 1.0, threshold)
    assert isinstance(chart, DriftChart)
    return jobs, start, chart, sign


def test_planted_drift_is_found_within_forty_jobs(threshold: float) -> None:
    found = 0
    for seed in range(50):
        jobs, start, chart, _ = planted(4500 + seed, threshold)
        times = [chart.times[place] for place in chart.alarms if chart.times[place] >= jobs[start]]
        found += bool(times) and np.searchsorted(jobs, times[0], side="right") - start <= 40
    assert found >= 40


def test_since_when_and_how_much_are_inside_their_ranges(threshold: float) -> None:
    inside = sized = told = 0
    for seed in range(100):
        jobs, start, chart, sign = planted(4600 + seed, threshold)
        if chart.change is None:
            continue
        told += 1
        begin = jobs[start]
        inside += chart.change.earliest <= begin <= chart.change.latest
        sized += chart.change.shift.lower <= sign <= chart.change.shift.upper
        assert chart.change.after[-1] == chart.times.size - 1
    assert told >= 90
    # Nominal 90 % for each.
    assert inside / told >= 0.80
    assert sized / told >= 0.80


def test_gauges_without_drift_stay_quiet(threshold: float) -> None:
    alarms = 0
    for seed in range(60):
        chart = drift_chart(evidence(np.random.default_rng(4700 + seed))[1], 1.0, threshold)
        assert isinstance(chart, DriftChart)
        alarms += len(chart.alarms)
    # Three gauges together may raise one in ten years: 20 workshops of ten years.
    assert alarms <= 30


@pytest.mark.long
def test_false_alarm_rate_in_the_long_run(threshold: float) -> None:
    alarms = 0
    for seed in range(600):
        chart = drift_chart(evidence(np.random.default_rng(48_000 + seed))[1], 1.0, threshold)
        assert isinstance(chart, DriftChart)
        alarms += len(chart.alarms)
    assert alarms / (600 / 3 * YEARS) <= 0.11


def test_scores_are_standard_normal_without_drift_whatever_is_unknown() -> None:
    random = np.random.default_rng(4801)
    scores = []
    for _ in range(400):
        stream = EvidenceStream("x", np.arange(30.0), random.normal(70, 4, 30))
        chart = drift_chart([stream], 2.0, 9.0)
        assert isinstance(chart, DriftChart)
        scores.append(chart.scores[10:])
    table = np.array(scores)
    assert table.mean() == pytest.approx(0, abs=0.05)
    assert table.std() == pytest.approx(1, abs=0.03)
    assert np.corrcoef(table[:, 0], table[:, 1])[0, 1] == pytest.approx(0, abs=0.15)


def test_threshold_matches_published_run_lengths() -> None:
    # Two-sided CUSUM k = 0.5, h = 5: average run length 465 (Montgomery, Introduction to Statistical
    # Quality Control; from memory). In log likelihood units with unit mean the threshold is the same 5.
    expected = np.ones(4000)
    found = drift_threshold([expected], years=4000 / 465, alarms_per_year=1.0, replicates=100)
    assert found == pytest.approx(5.0, abs=0.15)


def test_row_order_of_streams_does_not_matter() -> None:
    _, streams = evidence(np.random.default_rng(4802), 300)
    first = drift_chart(streams, 1.0, 6.0)
    second = drift_chart(streams[::-1], 1.0, 6.0)
    assert isinstance(first, DriftChart)
    assert isinstance(second, DriftChart)
    assert first.alarms == second.alarms
    assert first.upward.tolist() == second.upward.tolist()


def test_one_wild_record_raises_no_alarm() -> None:
    stream = EvidenceStream("master", np.arange(12.0), np.array([0.0] * 11 + [500.0]), centre=0.0, deviation=1.0)
    chart = drift_chart([stream], 1.0, 5.0)
    assert isinstance(chart, DriftChart)
    assert chart.alarms == ()


def test_too_few_and_refusals() -> None:
    short = EvidenceStream("master", np.arange(3.0), np.zeros(3), centre=0.0, deviation=1.0)
    assert drift_chart([short], 1.0, 5.0) == TooFew("scored gauge readings", 3, 5)
    with pytest.raises(ValueError, match="one name twice"):
        drift_chart([short, short], 1.0, 5.0)
    backward = EvidenceStream("pairs", np.array([2.0, 1.0]), np.zeros(2))
    with pytest.raises(ValueError, match="times of pairs in order"):
        drift_chart([backward], 1.0, 5.0)
    with pytest.raises(ValueError, match="above zero"):
        drift_threshold([np.ones(3)], 0)
