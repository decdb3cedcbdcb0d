"""Ring shift and backlash: bevel geometry (own derivation from the pitch cone; compare ISO 23509, not seen)."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.estimators.ring_gear_backlash import (
    backlash_per_ring_shift,
    ring_shift_for_backlash,
    side_packs_after_preload,
    side_packs_after_shift,
)


def test_worked_values_at_77_degrees() -> None:
    # Pitch angle 77 deg, pressure angle 20 deg: straight teeth, then 35 deg of spiral.
    assert backlash_per_ring_shift(77, 20) == pytest.approx(0.7093, abs=5e-5)
    assert backlash_per_ring_shift(77, 20, 35) == pytest.approx(0.8659, abs=5e-5)


@given(st.floats(5, 85), st.floats(10, 30), st.floats(0, 45))
def test_a_tooth_cut_on_the_pitch_cone_agrees(pitch: float, pressure: float, spiral: float) -> None:
    # Independent route: gap closed along each flank normal. Moving along the ring axis by x shifts the
    # tooth along the pitch-cone normal by x sin(pitch); a flank inclined by the pressure angle in the
    # normal section opens x sin(pitch) tan(pressure) across the tooth, and a gap across the tooth is
    # longer by 1 / cos(spiral) measured round the circumference.
    across = np.sin(np.radians(pitch)) * np.tan(np.radians(pressure))
    assert backlash_per_ring_shift(pitch, pressure, spiral) == pytest.approx(2 * across / np.cos(np.radians(spiral)))


def test_unequal_flanks_lie_between_the_equal_ones() -> None:
    loose = backlash_per_ring_shift(77, 15, 35, coast_pressure_angle=25)
    assert backlash_per_ring_shift(77, 15, 35) < loose < backlash_per_ring_shift(77, 25, 35)


def test_shifting_a_pair_of_packs_keeps_the_total_and_doubles_in_the_difference() -> None:
    # Common practice, no source.
    left, right = side_packs_after_shift(2.50, 2.10, 0.15)
    assert left + right == pytest.approx(4.60)
    assert (left - right) - (2.50 - 2.10) == pytest.approx(2 * 0.15)
    assert side_packs_after_preload(2.50, 2.10, 0.10) == pytest.approx((2.55, 2.15))


def test_the_shift_that_closes_a_wide_backlash() -> None:
    response = backlash_per_ring_shift(77, 20, 35)
    shift = ring_shift_for_backlash(0.56, 0.16, response)
    assert shift == pytest.approx(-0.40 / 0.8659, abs=5e-5)


def test_refusals() -> None:
    with pytest.raises(ValueError, match="pitch angle between 0 and 90 degrees, found 95"):
        backlash_per_ring_shift(95, 20)
    with pytest.raises(ValueError, match="response above zero"):
        ring_shift_for_backlash(0.2, 0.1, 0)
    with pytest.raises(ValueError, match="at least 0 mm"):
        side_packs_after_shift(0.1, 2.0, -0.2)
    with pytest.raises(ValueError, match="at least 0 mm"):
        side_packs_after_preload(0.1, 2.0, -0.4)
