"""Limits when none has failed: exact coverage at the limit, published arithmetic, refusals."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.estimators.life_no_failures import LowerLife, lower_life, most_failed_by
from analytics.estimators.life_observations import LifeObservations, TooFewToSay

RUNNING = LifeObservations([100.0, 200.0, 300.0], [np.inf] * 3, [4, 3, 2])


@pytest.mark.parametrize("shape", [0.8, 2.0, 3.5])
def test_at_the_limit_no_failure_has_just_the_chance_left(shape: float) -> None:
    found = lower_life(RUNNING, 0.1, shape, 0.95)
    assert isinstance(found, LowerLife)
    scale = found.lower / (-np.log(0.9)) ** (1 / shape)
    assert np.exp(-(RUNNING.count @ (RUNNING.lower / scale) ** shape)) == pytest.approx(0.05)
    assert "stated, not estimated" in found.statement


def test_success_run_of_59_shows_95_per_cent_with_95_per_cent_confidence() -> None:
    """n = log(.05) / log(.95) = 58.4, so 59: the success-run theorem, common practice (no source)."""
    found = most_failed_by(LifeObservations([10.0] * 59, [np.inf] * 59), 10.0)
    assert isinstance(found, float)
    assert found <= 0.05 < 1 - 0.05 ** (1 / 58)


def test_late_entry_takes_its_stretch_out() -> None:
    late = LifeObservations([100.0], [np.inf], [50], [99.0])
    plain = LifeObservations([100.0], [np.inf], [50])
    a, b = lower_life(late, 0.1, 2.0), lower_life(plain, 0.1, 2.0)
    assert isinstance(a, LowerLife)
    assert isinstance(b, LowerLife)
    assert a.lower < b.lower / 5
    assert isinstance(most_failed_by(late, 100.0), TooFewToSay)


def test_refusals_and_nothing_run() -> None:
    with pytest.raises(ValueError, match="found 1 failures"):
        lower_life(LifeObservations([0.0], [5.0]), 0.1, 2.0)
    with pytest.raises(ValueError, match="found 1 failures"):
        most_failed_by(LifeObservations([0.0], [5.0]), 3.0)
    with pytest.raises(ValueError, match="between 0 and 1"):
        lower_life(RUNNING, 0.1, -1.0)
    assert isinstance(lower_life(LifeObservations([0.0], [np.inf]), 0.1, 2.0), TooFewToSay)
    assert isinstance(lower_life(LifeObservations([], []), 0.1, 2.0), TooFewToSay)
    assert isinstance(most_failed_by(RUNNING, 400.0), TooFewToSay)
