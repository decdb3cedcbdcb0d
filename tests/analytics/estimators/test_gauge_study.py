"""Gauge study: coverage of its intervals, order, unequal numbers, refusals."""

import numpy as np
import pytest

from analytics.estimators.gauge_study import GaugeStudy, gauge_study, repeatability_from_repeats
from analytics.estimators.interval import Interval, TooFew


def simulate(
    random: np.random.Generator, parts: int, operators: int, repeats: int, sds: tuple[float, float, float, float]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Draw readings from the random crossed model; sds are part, operator, interaction, error."""
    part = np.repeat(np.arange(parts), operators * repeats)
    operator = np.tile(np.repeat(np.arange(operators), repeats), parts)
    readings = (
        random.normal(0, sds[0], parts)[part]
        + random.normal(0, sds[1], operators)[operator]
        + random.normal(0, sds[2], (parts, operators))[part, operator]
        + random.normal(0, sds[3], part.size)
    )
    return readings, part, operator


def coverage(seed: int, runs: int, sds: tuple[float, float, float, float], drop: int) -> dict[str, float]:
    random = np.random.default_rng(seed)
    squares = np.square(sds)
    truth = {
        "repeatability": squares[3],
        "reproducibility": squares[1] + squares[2],
        "gauge": squares[1:].sum(),
        "part": squares[0],
        "total": squares.sum(),
    }
    hits = dict.fromkeys(truth, 0)
    for _ in range(runs):
        readings, part, operator = simulate(random, 10, 4, 3, sds)
        keep = np.sort(random.permutation(readings.size)[drop:])
        found = gauge_study(readings[keep], part[keep], operator[keep], interaction="keep")
        assert isinstance(found, GaugeStudy)
        for name, value in truth.items():
            interval = getattr(found, name)
            hits[name] += interval.lower <= value <= interval.upper
    return {name: count / runs for name, count in hits.items()}


def test_intervals_of_a_balanced_study_cover() -> None:
    found = coverage(4201, 300, (3, 1, 0.7, 1), drop=0)
    assert min(found.values()) >= 0.92
    assert found["repeatability"] <= 0.985


@pytest.mark.long
def test_intervals_of_a_balanced_study_cover_in_the_long_run() -> None:
    for sds in ((3, 1, 0.7, 1), (3, 0.3, 0.3, 1), (1, 2, 0.1, 1)):
        found = coverage(4202, 3000, sds, drop=0)
        assert min(found.values()) >= 0.935, found


def test_intervals_with_unequal_numbers_cover() -> None:
    found = coverage(4203, 200, (3, 1, 0.7, 1), drop=25)
    assert min(found.values()) >= 0.91


def test_an_unequal_study_recovers_planted_spreads() -> None:
    random = np.random.default_rng(4204)
    readings, part, operator = simulate(random, 60, 5, 2, (2, 0.8, 0.5, 1))
    keep = np.sort(random.permutation(readings.size)[: readings.size // 2])
    found = gauge_study(readings[keep], part[keep], operator[keep])
    assert isinstance(found, GaugeStudy)
    assert not found.balanced
    for name, truth in (("repeatability", 1), ("part", 4), ("gauge", 1.89)):
        interval = getattr(found, name)
        assert interval.lower <= truth <= interval.upper


def test_row_order_does_not_matter_to_the_last_digit() -> None:
    random = np.random.default_rng(4205)
    readings, part, operator = simulate(random, 6, 3, 2, (2, 1, 0.5, 1))
    shuffle = random.permutation(readings.size)
    assert gauge_study(readings, part, operator) == gauge_study(readings[shuffle], part[shuffle], operator[shuffle])
    cut = shuffle[5:]
    assert gauge_study(readings[cut], part[cut], operator[cut]) == gauge_study(
        readings[np.sort(cut)], part[np.sort(cut)], operator[np.sort(cut)]
    )


def test_repeatability_from_repeats_alone() -> None:
    random = np.random.default_rng(4206)
    jobs = np.repeat(np.arange(30), 2)
    found = repeatability_from_repeats(random.normal(66, 0.3, 30)[jobs] + random.normal(0, 0.01, 60), jobs)
    assert isinstance(found, Interval)
    assert found.lower <= 0.01 <= found.upper
    assert found.units == 30


def test_too_few_is_said() -> None:
    assert gauge_study([1, 2, 3, 4], "aabb", "xxxx") == TooFew("operators", 1, 2)
    assert gauge_study([1, 2, 3, 4], "aabb", "xyxy") == TooFew("repeated readings", 0, 5)
    assert repeatability_from_repeats([1, 2], "aa") == TooFew("repeated readings", 1, 5)


def test_refusals() -> None:
    with pytest.raises(ValueError, match="every repeated reading the same"):
        gauge_study([1.0] * 12, "aaabbbaaabbb", "xxxxxxyyyyyy")
    with pytest.raises(ValueError, match="expected a part and an operator a reading"):
        gauge_study([1.0, 2.0], "a", "x")
    readings, part, operator = simulate(np.random.default_rng(1), 4, 2, 3, (1, 1, 1, 1))
    with pytest.raises(ValueError, match="tolerance above zero"):
        gauge_study(readings, part, operator, tolerance=0)
