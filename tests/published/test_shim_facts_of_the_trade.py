"""Facts of the trade about setting (common practice, no source), as the estimators see them."""

import pytest

from analytics.estimators.capability import Capability, capability
from analytics.estimators.first_try_pack import marking_share, needed_pack
from analytics.estimators.ring_gear_backlash import ring_shift_for_backlash, side_packs_after_shift
from analytics.estimators.shim_pieces import NoShimStack, ShimPiece, ShimStack, choose_shim_pieces

SHELF = [ShimPiece(100, 5), ShimPiece(150, 5), ShimPiece(200, 5)]


@pytest.mark.parametrize("wanted", [250, 260])
def test_a_quarter_millimetre_is_made_of_010_and_015(wanted: int) -> None:
    # 0.25-0.26 mm wanted, shims in 0.10, 0.15 and 0.20 mm: 0.10 + 0.15.
    assert choose_shim_pieces(SHELF, wanted - 30, wanted + 30, wanted) == ShimStack(((100, 1), (150, 1)), 250)


def test_ending_a_hundredth_over_is_accepted() -> None:
    # 0.26 wanted and 0.25 fitted leaves the depth 0.01 mm off, inside +-0.03 mm.
    stack = choose_shim_pieces(SHELF, 230, 290, 260)
    assert isinstance(stack, ShimStack)
    assert abs(stack.total - 260) == 10


def test_a_hundredth_tolerance_would_not_be_met_from_these_steps() -> None:
    answer = choose_shim_pieces(SHELF, 265, 285, 275)
    assert isinstance(answer, NoShimStack)
    assert answer.nearest is not None
    assert answer.nearest.total == 250
    assert answer.missing == (15, 35)


def test_target_depth_is_constant_plus_marked_deviation() -> None:
    # 66.30 + 0.30 = 66.60 mm. A pack behind the pinion head shortens the depth: response -1, so that a
    # set marked +0.30 asks for a pack 0.30 mm thinner than an unmarked one.
    unmarked = needed_pack([1.00], [66.30], [66.30], [-1.0])
    marked = needed_pack([1.00], [66.30], [66.30 + 0.30], [-1.0])
    assert marked - unmarked == pytest.approx(marking_share([0.30], 1, [-1.0]))
    assert marked == pytest.approx([0.70])


def test_a_depth_within_three_hundredths_is_within_limits() -> None:
    # 66.60 +-0.03 mm: readings spread 0.01 about 66.60 leave little outside, none counted.
    readings = [66.59, 66.60, 66.61, 66.60, 66.61, 66.59, 66.60, 66.60, 66.61, 66.59]
    found = capability(readings, 66.57, 66.63)
    assert isinstance(found, Capability)
    assert found.outside == 0
    assert found.ppk.estimate > 1


def test_backlash_056_for_016_wanted_is_far_out() -> None:
    # Read at four places against the value marked on the ring.
    places = [0.55, 0.57, 0.56, 0.56]
    mean = sum(places) / 4
    assert mean == pytest.approx(0.56)
    shift = ring_shift_for_backlash(mean, 0.16, 0.85)
    near, far = side_packs_after_shift(2.60, 2.40, shift)
    assert shift < 0
    assert near + far == pytest.approx(5.00)
