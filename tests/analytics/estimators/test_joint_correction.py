"""Joint correction: one linear axle set from any start in one correction, missing readings, refusals."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.estimators.joint_correction import AxleResponses, joint_correction
from analytics.estimators.ring_gear_backlash import backlash_per_ring_shift

RESPONSES = AxleResponses(-1.0, backlash_per_ring_shift(13, 20, 35), backlash_per_ring_shift(77, 20, 35))
offsets = st.floats(-0.3, 0.3)


@given(offsets, offsets, offsets)
def test_a_linear_axle_is_right_after_one_correction(depth: float, ring: float, preload: float) -> None:
    # The state: how far depth, ring position and total pack are from where they should be.
    backlash = 0.16 + RESPONSES.backlash_per_depth * depth + RESPONSES.backlash_per_shift * ring
    found = joint_correction(RESPONSES, -depth, backlash, 0.16, -preload)
    assert found.pinion_pack is not None
    assert found.near_side is not None
    assert found.far_side is not None
    new_depth = depth + RESPONSES.depth_per_pack * found.pinion_pack
    new_ring = ring + (found.near_side - found.far_side) / 2
    assert new_depth == pytest.approx(0, abs=1e-12)
    assert RESPONSES.backlash_per_shift * new_ring == pytest.approx(0, abs=1e-12)
    assert preload + found.near_side + found.far_side == pytest.approx(0, abs=1e-12)


def test_depth_alone_announces_what_backlash_will_read() -> None:
    found = joint_correction(RESPONSES, depth_error=0.10, backlash=0.16, backlash_target=0.16)
    assert found.pinion_pack == pytest.approx(-0.10)
    assert found.expected_backlash is not None
    assert found.expected_backlash > 0.16
    assert found.ring_shift is not None
    assert found.ring_shift < 0


def test_missing_readings_leave_their_part_out() -> None:
    found = joint_correction(RESPONSES, depth_error=-0.05)
    assert (found.near_side, found.far_side, found.ring_shift) == (None, None, None)
    only_preload = joint_correction(RESPONSES, preload_change=0.08)
    assert (only_preload.pinion_pack, only_preload.near_side, only_preload.far_side) == (None, 0.04, 0.04)


def test_refusals() -> None:
    with pytest.raises(ValueError, match="one without the other"):
        joint_correction(RESPONSES, backlash=0.2)
    with pytest.raises(ValueError, match="other than zero"):
        joint_correction(AxleResponses(0.0, 0.2, 0.8), 0.1)
    with pytest.raises(ValueError, match="response above zero"):
        joint_correction(AxleResponses(1.0, 0.2, 0.0), 0.1, 0.2, 0.1)
