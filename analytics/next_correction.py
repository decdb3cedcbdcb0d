"""Combine the trial readings of an axle drive into one correction of depth, backlash and preload."""

from __future__ import annotations

from analytics.estimators.joint_correction import AxleCorrection, AxleResponses, joint_correction
from analytics.first_try_places import PlaceAnswer
from analytics.wording import millimetres

BACKLASH_PER_DEPTH = 0.25  # where geometry is not known: what a pinion set deeper or shallower opens the backlash by


def joint_sentence(answers: tuple[PlaceAnswer, ...], backlash_per_depth: float | None) -> str | None:
    """Say what to change together after a trial, None unless depth or backlash was read.

    A depth that grows opens the backlash before the ring is moved; a ring shift goes half on, half off: what one side
    gains the other loses, so that the preload stands.
    """
    depth, ring = _tried(answers, "pinion_depth"), _tried(answers, "backlash")
    if ring is None and depth is None:
        return None
    parts = []
    opens = BACKLASH_PER_DEPTH if backlash_per_depth is None else backlash_per_depth
    correction = _correction(depth, ring, opens)
    if correction.pinion_pack is not None and depth is not None:
        parts.append(f"pack {depth.place['place']} {millimetres(1000 * correction.pinion_pack)}")
    if correction.near_side is not None and correction.far_side is not None and ring is not None:
        parts.append(
            f"{ring.place['location']} {millimetres(1000 * correction.near_side)} and {ring.place['other']} "
            f"{millimetres(1000 * correction.far_side)}"
        )
    if depth is not None and correction.expected_backlash is not None:
        parts.append(
            f"which counts with backlash reading {correction.expected_backlash:.2f} mm once the depth is right"
        )
    preload = next((a for a in answers if a.place["quantity"].endswith("torque") and a.last_trial), None)
    if preload is not None and preload.after_trials is not None and preload.last_trial is not None:
        pack = preload.last_trial["pack"]
        if pack:
            parts.append(
                f"pack {preload.place['place']} {millimetres(1000 * preload.after_trials[0] - pack)} for the preload"
            )
    if not parts:
        return None
    return f"Next, together: {'; '.join(parts)}. Read all of them again, and the contact pattern, afterwards."


def _tried(answers: tuple[PlaceAnswer, ...], quantity: str) -> PlaceAnswer | None:
    return next(
        (
            a
            for a in answers
            if a.place["quantity"] == quantity and a.last_trial and a.last_trial["reading"] is not None and a.target
        ),
        None,
    )


def _correction(depth: PlaceAnswer | None, ring: PlaceAnswer | None, opens: float) -> AxleCorrection:
    error = backlash = wanted = None
    rise = 1.0
    if depth is not None and depth.target is not None and depth.last_trial is not None:
        error = (depth.target.target - depth.last_trial["reading"]) / 1000
    if ring is not None and ring.target is not None and ring.last_trial is not None:
        backlash, wanted = ring.last_trial["reading"] / 1000, ring.target.target / 1000
        rise = ring.last_trial["rise"]
    sign = 1.0 if depth is None else float(depth.place["sign"])
    return joint_correction(AxleResponses(sign, opens, rise), error, backlash, wanted)
