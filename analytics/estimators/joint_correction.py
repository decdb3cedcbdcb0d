"""The next correction for depth, backlash and preload together, since each moves the others."""

from dataclasses import dataclass

from analytics.estimators.ring_gear_backlash import ring_shift_for_backlash


@dataclass(frozen=True)
class AxleResponses:
    """Hold how the readings of an axle drive answer, learned or by geometry.

    `depth_per_pack`: mm of depth per mm of pinion pack, negative where thicker shortens it.
    `backlash_per_depth`: mm of backlash per mm by which the depth (mounting distance) grows, above zero:
    `backlash_per_ring_shift` with the pinion's pitch angle. `backlash_per_shift`: mm of backlash per mm of
    ring shift away from the pinion, above zero.
    """

    depth_per_pack: float
    backlash_per_depth: float
    backlash_per_shift: float


@dataclass(frozen=True)
class AxleCorrection:
    """Hold what to add (negative: take off) in mm; None where there is no reading to correct from.

    `near_side` is the side pack whose thickness pushes the ring away from the pinion. `expected_backlash`
    is what the backlash will read once the depth alone is right.
    """

    pinion_pack: float | None
    near_side: float | None
    far_side: float | None
    ring_shift: float | None
    expected_backlash: float | None


def joint_correction(
    responses: AxleResponses,
    depth_error: float | None = None,
    backlash: float | None = None,
    backlash_target: float | None = None,
    preload_change: float | None = None,
) -> AxleCorrection:
    """Combine the corrections of one trial so that setting one reading does not put out the other.

    `depth_error` is target minus reading (mm), `backlash` and its target in mm, `preload_change` the mm to
    add to the total of both side packs (from `preload_correction`, or an end-play rule). A depth that grows
    opens the backlash by `backlash_per_depth` before the ring is shifted; a change of the total is split in
    halves, which keeps the ring in place; what a shift adds on one side it takes off the other.
    Linear for the small changes of a trial: every reading is taken again afterwards. With only one of
    backlash and preload read, the other's part is left at zero. Raises ValueError for responses of the
    wrong sign or zero, or a backlash without its target.
    """
    if responses.depth_per_pack == 0 or responses.backlash_per_depth < 0:
        raise ValueError("expected a depth response other than zero and a backlash that opens with depth")
    if (backlash is None) != (backlash_target is None):
        raise ValueError("expected a backlash reading with its target, found one without the other")
    expected = shift = None
    if backlash is not None and backlash_target is not None:
        expected = backlash + responses.backlash_per_depth * (depth_error or 0.0)
        shift = ring_shift_for_backlash(expected, backlash_target, responses.backlash_per_shift)
    near = far = None
    if shift is not None or preload_change is not None:
        half = (preload_change or 0.0) / 2
        near, far = half + (shift or 0.0), half - (shift or 0.0)
    pinion = None if depth_error is None else depth_error / responses.depth_per_pack
    return AxleCorrection(pinion, near, far, shift, expected)
