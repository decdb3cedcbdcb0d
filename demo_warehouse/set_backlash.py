"""Set the backlash with side packs or threaded adjusters, read round the ring, and note the contact pattern."""

from __future__ import annotations

import math

from demo_warehouse.bench import MOST_TRIALS, Bench, GearSetItem, ShimParts
from demo_warehouse.catalogue import Family, Location
from demo_warehouse.habits import goes_to_the_drawer, way_gone
from demo_warehouse.packs import nearest_pack
from demo_warehouse.rows import chance

POINTS = 4
BACKLASH_PER_DEPTH = 0.25  # of a depth error, in the same length
SIDE_INTERFERENCE = 80.0
SIDE_TORQUE_PER_UM = 25.0
ADJUSTER_NOTCH = 25.0
PATTERN_SEEN = 32.0  # true depth error in micrometres at which the pattern leaves the middle
PATTERN_REFUSED = 60.0
NOISE_OF_EYE = 8.0


def backlash_per_shift(family: Family, gear_set: GearSetItem) -> float:
    """Return how far backlash moves when the ring gear moves by one."""
    if family.gear_set is None:
        raise ValueError(f"{family.name} has no gear set")
    return family.gear_set.backlash_per_shift(gear_set.pinion_teeth)


def _sides(bench: Bench) -> tuple[Location, Location]:
    left, right = (place for place in bench.unit.family.locations if place.quantity == "backlash")
    return left, right


def _true_backlash(bench: Bench) -> float:
    """Return the true mean backlash from the ring gear's place and the depth error."""
    state = bench.state
    left, right = _sides(bench)
    shift = (sum(state.pack.get(left.name, ())) - sum(state.pack.get(right.name, ()))) / 2 + state.ring_shift
    assert state.gear_set is not None
    moved = backlash_per_shift(bench.unit.family, state.gear_set) * shift
    return max(state.backlash_base + moved + BACKLASH_PER_DEPTH * state.depth_error, 0.0)


def _read_round(bench: Bench, stage: str, **more: object) -> list[int]:
    """Read the backlash at four points: the mean, the ring's run-out, and scatter."""
    left = _sides(bench)[0]
    mean, phase = _true_backlash(bench), bench.rng.uniform(0, 2 * math.pi)
    scatter = bench.scenario.gauges.backlash_reading_um
    gauge = "BL-1" if bench.technician in ("MK", "JT") else "BL-2"
    values = []
    for point in range(1, POINTS + 1):
        swing = bench.state.run_out / 2 * math.cos(phase + math.pi / 2 * point)
        raw = max(mean + swing + bench.rng.normal(0, scatter), 0.0)
        values.append(bench.read("backlash", left.name, stage, raw, left, point=point, instrument=gauge, **more))
    return values


def _write_packs(bench: Bench, stage: str, parts: ShimParts, trial: int | None) -> None:
    for place in _sides(bench):
        if place.takes_shims:
            bench.write_pack(place, stage, bench.state.pack[place.name], parts, trial)


def _limits(bench: Bench, found_mean: float | None) -> tuple[int, int, int]:
    """Return target and limits: marked on the set, recorded before the strip, or the family's own."""
    left = _sides(bench)[0]
    target, lower, upper = left.limits["any"]
    marked = bench.state.gear_set.marked_backlash if bench.state.gear_set else None
    if marked is None:
        return target, lower, upper
    if not bench.new_set and found_mean is not None and 90 <= found_mean <= 260:
        marked = round(found_mean / 10) * 10
    return marked, marked + lower, marked + upper


def _sides_after_rebuild(bench: Bench) -> None:
    """Let new side bearings, a new set or a new casing move the ring gear and the space for the packs."""
    state, rng = bench.state, bench.rng
    for place in _sides(bench):
        if place.bearing in bench.new_bearings:
            state.maker[place.name] = bench.new_bearings[place.bearing]
            state.side_space += rng.normal(0, 20)
            state.backlash_base += rng.normal(
                -bench.scenario.setting.backlash_by_new_bearing_um, bench.scenario.setting.new_bearing_um
            )
    if bench.case_replaced:
        state.side_space += rng.normal(0, bench.scenario.setting.case_um)
        state.backlash_base += rng.normal(0, bench.scenario.setting.case_um)
    if bench.new_set:
        state.backlash_base += rng.normal(bench.scenario.setting.backlash_by_new_set_um, 35)


def _total(bench: Bench, parts: ShimParts) -> None:
    """Measure the space between the side bearings and give the packs its sum and a little more."""
    state = bench.state
    left, right = _sides(bench)
    if not left.takes_shims:
        return
    raw = state.side_space + bench.rng.normal(0, 8)
    space = bench.read("side_total", left.name, "trial", raw, left, trial=1, instrument="EF-1")
    wanted = space + SIDE_INTERFERENCE
    total = sum(state.pack[left.name]) + sum(state.pack[right.name])
    if goes_to_the_drawer(bench):
        _place_sides(bench, wanted / 2, wanted)
    elif abs(total - wanted) > (left.step or 50):
        difference = sum(state.pack[left.name]) - sum(state.pack[right.name])
        _place_sides(bench, (wanted + difference) / 2, wanted)


def _place_sides(bench: Bench, left_wanted: float, total: float) -> None:
    left, right = _sides(bench)
    bench.state.pack[left.name] = nearest_pack(left, left_wanted)
    bench.state.pack[right.name] = nearest_pack(right, total - sum(bench.state.pack[left.name]))


def _move_ring(bench: Bench, shift: float) -> None:
    """Move the ring gear: half the difference of the packs, or notches of the adjusters."""
    state = bench.state
    left, right = _sides(bench)
    if not left.takes_shims:
        state.ring_shift += max(1, round(abs(shift) / ADJUSTER_NOTCH)) * math.copysign(ADJUSTER_NOTCH, shift)
        return
    step = left.step or 50
    moved = max(step, round(abs(shift) / step) * step) * math.copysign(1, shift)
    total = sum(state.pack[left.name]) + sum(state.pack[right.name])
    _place_sides(bench, sum(state.pack[left.name]) + moved, total)


def set_backlash(bench: Bench, parts: ShimParts) -> None:
    """Read as found, then move the ring gear until the mean of four readings lies within limits."""
    state = bench.state
    left, right = _sides(bench)
    before = {place.name: state.pack.get(place.name, ()) for place in (left, right)}
    found_mean = None
    if bench.reads_found:
        readings = _read_round(bench, "as_found")
        found_mean = sum(readings) / POINTS
        _write_packs(bench, "as_found", parts, None)
    _sides_after_rebuild(bench)
    _total(bench, parts)
    target, lower, upper = _limits(bench, found_mean)
    limits = {"target": target, "lower": lower, "upper": upper}
    readings = []
    assert state.gear_set is not None
    gain = backlash_per_shift(bench.unit.family, state.gear_set)
    for trial in range(1, MOST_TRIALS + 1):
        readings = _read_round(bench, "trial", trial=trial, **limits)
        _write_packs(bench, "trial", parts, trial)
        bench.trials += 1
        mean = sum(readings) / POINTS
        if lower <= mean <= upper:
            break
        _move_ring(bench, way_gone(bench, (target - mean) / gain))
    gauge = "BL-1" if bench.technician in ("MK", "JT") else "BL-2"
    for point, value in enumerate(readings, 1):
        bench.read("backlash", left.name, "as_built", value, left, point=point, instrument=gauge, **limits)
    _write_packs(bench, "as_built", parts, None)
    for place in (left, right):
        bench.take_new_pieces(place, before[place.name], state.pack.get(place.name, ()))
    _after_setting(bench)


def _after_setting(bench: Bench) -> None:
    """Read what belongs to the finished drive: run-out, the space taken up, the total torque."""
    state, rng = bench.state, bench.rng
    left, right = _sides(bench)
    bench.read("run_out", None, "as_built", max(state.run_out + rng.normal(0, 5), 0), instrument="BL-1")
    if not left.takes_shims:
        return
    packs = sum(state.pack[left.name]) + sum(state.pack[right.name])
    bench.read("side_total", left.name, "as_built", state.side_space + rng.normal(0, 8), left, instrument="EF-1")
    teeth = state.gear_set.pinion_teeth if state.gear_set else 9
    ratio = (bench.unit.family.gear_set.wheel_teeth if bench.unit.family.gear_set else 36) / teeth
    pinion = 2300.0 if bench.unit.family.location_for("preload_torque") else 900.0
    torque = pinion + SIDE_TORQUE_PER_UM * max(packs - state.side_space, 0.0) / ratio
    raw = torque + rng.normal(0, bench.scenario.gauges.torque_reading_mnm)
    bench.read("total_preload_torque", left.name, "as_built", raw, left, instrument="TQ-1")


def wanted_pattern(bench: Bench) -> None:
    """Write the contact pattern, which follows the true depth error and not the gauge.

    Too far from the axis shows high on the tooth and at the heel under drive, too near low and at the toe
    (common practice, no source).
    """
    seen = bench.state.depth_error + bench.rng.normal(0, NOISE_OF_EYE)
    out, near = seen > PATTERN_SEEN, seen < -PATTERN_SEEN
    bench.rows.add(
        "contact_pattern",
        job=bench.job,
        trial=bench.depth_trials,
        drive_lengthwise="heel" if out else "toe" if near else "centre",
        drive_profile="face" if out else "flank" if near else "centre",
        coast_lengthwise="toe" if out else "heel" if near else "centre",
        coast_profile="face" if out else "flank" if near else "centre",
        entered=bench.built_day,
        passed=abs(seen) < PATTERN_REFUSED or chance(bench.rng, 0.5),
    )
