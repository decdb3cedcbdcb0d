"""Preload response: bend and slope recovered, both directions, corrections, refusals."""

import numpy as np
import pytest

from analytics.estimators.interval import TooFew
from analytics.estimators.preload_response import PreloadResponse, preload_correction, preload_response


def bent(random: np.random.Generator, count: int = 30) -> tuple[np.ndarray, np.ndarray]:
    """Draw torque in N.m: 0.4 drag, bend at 0.10 mm, 20 N.m per mm beyond, 0.15 of noise."""
    packs = random.uniform(-0.1, 0.3, count)
    return packs, 0.4 + 20 * np.maximum(packs - 0.10, 0) + random.normal(0, 0.15, count)


def fit(packs: np.ndarray, torques: np.ndarray, direction: int = 1, base: float | None = None) -> PreloadResponse:
    found = preload_response(packs, torques, direction, base)
    assert isinstance(found, PreloadResponse)
    return found


@pytest.mark.parametrize("base", [None, 0.4])
def test_intervals_cover_bend_and_slope(base: float | None) -> None:
    random = np.random.default_rng(4501)
    bend = slope = 0
    for _ in range(200):
        found = fit(*bent(random), base=base)
        bend += found.threshold.lower <= 0.10 <= found.threshold.upper
        slope += found.slope.lower <= 20 <= found.slope.upper
    assert 0.90 <= bend / 200 <= 0.99
    assert 0.90 <= slope / 200 <= 0.99


def test_a_line_through_the_origin_would_be_wrong_and_is_not_assumed() -> None:
    packs, torques = bent(np.random.default_rng(4502), 60)
    found = fit(packs, torques)
    naive = (packs * torques).sum() / (packs**2).sum()
    assert found.slope.lower > naive
    assert found.base == pytest.approx(0.4, abs=0.1)
    assert found.loose + found.loaded == 60


def test_thicker_loosens_mirrors_thicker_tightens() -> None:
    packs, torques = bent(np.random.default_rng(4503))
    first, second = fit(packs, torques), fit(-packs, torques, direction=-1)
    assert second.slope == first.slope
    assert second.threshold == first.threshold
    assert preload_correction(second, 1.0, 2.0) == -preload_correction(first, 1.0, 2.0)


def test_corrections_close_the_end_play_first() -> None:
    found = fit(*bent(np.random.default_rng(4504), 200))
    assert preload_correction(found, 1.4, 2.4) == pytest.approx(1 / 20, rel=0.1)
    assert preload_correction(found, 0.4, 2.4, end_play=0.05) == pytest.approx(0.05 + 0.10, rel=0.1)
    with pytest.raises(ValueError, match="measure the end play"):
        preload_correction(found, 0.1, 2.4)
    with pytest.raises(ValueError, match="target above the drag"):
        preload_correction(found, 1.0, 0.1)


def test_too_few_and_refusals() -> None:
    assert preload_response([0, 1], [0, 1], 1) == TooFew("torque readings", 2, 8)
    with pytest.raises(ValueError, match="direction"):
        preload_response([0, 1], [0, 1], 0)
    with pytest.raises(ValueError, match="rise"):
        preload_response(np.arange(9.0), -np.arange(9.0), 1)
    sparse = np.r_[np.linspace(-1, 0, 12), 0.05, 0.1]
    assert preload_response(sparse, 50 * np.maximum(sparse, 0), 1, 0.0) == TooFew(
        "readings beyond the end of the end play", 2, 3
    )
