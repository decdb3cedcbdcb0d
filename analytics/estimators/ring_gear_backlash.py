"""Geometry of ring-gear backlash: what shifting the ring, or a side pack, does to the reading."""

from math import cos, radians, sin, tan


def backlash_per_ring_shift(
    pitch_angle: float,
    pressure_angle: float,
    spiral_angle: float = 0.0,
    coast_pressure_angle: float | None = None,
) -> float:
    """Give mm of circumferential backlash per mm of axial ring-gear shift away from the pinion.

    Angles in degrees: ring pitch angle, normal pressure angle, mean spiral angle. Formula:
    sin(pitch) (tan(drive pressure) + tan(coast pressure)) / cos(spiral); with equal flanks that is
    2 sin(pitch) tan(pressure) / cos(spiral). Own derivation; compare ISO 23509 (not seen). Exact for
    straight and spiral bevel sets; for hypoid sets, whose flank angles are unequal and whose lengthwise
    sliding is left out, a loose guide only. Raises ValueError for angles outside their meaning.
    """
    coast = pressure_angle if coast_pressure_angle is None else coast_pressure_angle
    _between("pitch angle", pitch_angle, 0, 90)
    _between("pressure angle", pressure_angle, 0, 45)
    _between("coast pressure angle", coast, 0, 45)
    _between("spiral angle", abs(spiral_angle), -1, 60)
    flanks = tan(radians(pressure_angle)) + tan(radians(coast))
    return sin(radians(pitch_angle)) * flanks / cos(radians(spiral_angle))


def ring_shift_for_backlash(reading: float, target: float, response: float) -> float:
    """Give the mm to shift the ring away from the pinion that take a backlash reading to its target.

    `response` is mm of backlash per mm of shift, learned or from `backlash_per_ring_shift`; above zero,
    else ValueError. Negative: towards the pinion.
    """
    if not response > 0:
        raise ValueError(f"expected a response above zero, found {response}")
    return (target - reading) / response


def side_packs_after_shift(pinion_side: float, far_side: float, shift: float) -> tuple[float, float]:
    """Give both side packs after moving the ring `shift` mm away from the pinion at unchanged preload.

    `pinion_side` is the pack whose thickness pushes the ring away from the pinion. What one side gains the
    other loses: the total (preload) stands still and the difference changes by 2 x `shift`.
    Raises ValueError where a pack would become thinner than nothing.
    """
    after = (pinion_side + shift, far_side - shift)
    if min(after) < 0:
        raise ValueError(f"expected packs of at least 0 mm after the shift, found {after[0]:.3f}, {after[1]:.3f}")
    return after


def side_packs_after_preload(pinion_side: float, far_side: float, change: float) -> tuple[float, float]:
    """Give both side packs after changing their total by `change` mm without moving the ring."""
    after = (pinion_side + change / 2, far_side + change / 2)
    if min(after) < 0:
        raise ValueError(f"expected packs of at least 0 mm after the change, found {after[0]:.3f}, {after[1]:.3f}")
    return after


def _between(name: str, angle: float, low: float, high: float) -> None:
    if not low < angle < high:
        raise ValueError(f"expected a {name} between {max(low, 0)} and {high} degrees, found {angle}")
