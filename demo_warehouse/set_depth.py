"""Set the pinion's depth: reshim until the gauge reads the target, whatever the truth is."""

from __future__ import annotations

from demo_warehouse.bench import MOST_TRIALS, Bench, GearSetItem, ShimParts
from demo_warehouse.catalogue import Location
from demo_warehouse.habits import goes_to_the_drawer, usual_pack, way_gone
from demo_warehouse.packs import nearest_pack
from demo_warehouse.rows import chance


def signed_marking(sign_rule: str, marked: int) -> int:
    """Return the marked deviation as it enters the target."""
    return marked if sign_rule == "added" else -marked


def standing_height(bench: Bench, place: Location) -> float:
    """Return what the make of the bearing at a location adds to the reading, in micrometres."""
    planted = bench.scenario.planted.bearing_make
    here = (planted.family, planted.location) == (bench.unit.family.name, place.name)
    return planted.standing_height_um if here and bench.state.maker.get(place.name) == planted.maker else 0.0


def true_depth(bench: Bench, place: Location, pack: tuple[int, ...]) -> float:
    """Return the true mounting distance with a pack in place, bearings sound."""
    return bench.state.base[place.name] + place.sign * sum(pack) + standing_height(bench, place)


def set_depth(bench: Bench, place: Location, old: GearSetItem, parts: ShimParts) -> None:
    """Read as found, rebuild, and reshim until the reading lies within limits."""
    state, scatter = bench.state, bench.scenario.setting
    constant, lower, upper = place.limits["any"]
    found_pack = state.pack[place.name]
    worn = scatter.wear_um * bench.worn(place) ** 2
    true_found = true_depth(bench, place, found_pack) + worn
    read_found = None
    if bench.reads_found:
        reading = bench.gauges.depth_reading(
            true_found, bench.depth_gauge, bench.technician, bench.found_day, bench.rng
        )
        read_found = bench.read("pinion_depth", place.name, "as_found", reading, place, instrument=bench.depth_gauge)
        bench.write_pack(place, "as_found", found_pack, parts, None)
    _rebuild(bench, place)
    kind, gear_set = bench.unit.family.gear_set, state.gear_set
    assert kind is not None
    assert gear_set is not None
    by_marking = constant + signed_marking(kind.sign_rule, gear_set.marked)
    target = by_marking if bench.new_set or read_found is None else read_found
    true_target = gear_set.true_target if bench.new_set or read_found is None else true_found
    if bench.new_set:
        state.base[place.name] += bench.rng.normal(0, scatter.pinion_um)
    wanted = usual_pack(place) if goes_to_the_drawer(bench) else float(sum(found_pack))
    if bench.new_set and chance(bench.rng, scatter.uses_marking):
        wanted += place.sign * (by_marking - constant - signed_marking(kind.sign_rule, old.marked))
    pack, reading_built = _reshim(bench, place, wanted, (target, target + lower, target + upper), parts)
    limits = {"target": target, "lower": target + lower, "upper": target + upper}
    bench.read("pinion_depth", place.name, "as_built", reading_built, place, instrument=bench.depth_gauge, **limits)
    bench.write_pack(place, "as_built", pack, parts, None)
    bench.take_new_pieces(place, found_pack, pack)
    state.pack[place.name] = pack
    state.depth_error = true_depth(bench, place, pack) - true_target
    _read_again(bench, place, pack, limits)


def _rebuild(bench: Bench, place: Location) -> None:
    """Let a new bearing, and a new casing, change the true dimension."""
    if place.bearing in bench.new_bearings:
        bench.state.maker[place.name] = bench.new_bearings[place.bearing]
        shift = -bench.scenario.setting.depth_by_new_bearing_um
        bench.state.base[place.name] += bench.rng.normal(shift, bench.scenario.setting.new_bearing_um)
    if bench.case_replaced:
        bench.state.base[place.name] += bench.rng.normal(0, bench.scenario.setting.case_um)


def _reshim(
    bench: Bench, place: Location, wanted: float, limits: tuple[int, int, int], parts: ShimParts
) -> tuple[tuple[int, ...], int]:
    target, lower, upper = limits
    pack = nearest_pack(place, wanted)
    reading = target
    for trial in range(1, MOST_TRIALS + 1):
        true = true_depth(bench, place, pack)
        raw = bench.gauges.depth_reading(true, bench.depth_gauge, bench.technician, bench.built_day, bench.rng)
        setup = "setup" if bench.unit.family.name == "A7" else "final"
        reading = bench.read(
            "pinion_depth", place.name, "trial", raw, place, trial=trial, target=target, lower=lower, upper=upper,
            instrument=bench.depth_gauge, bearing_state=setup,
        )  # fmt: skip
        bench.write_pack(place, "trial", pack, parts, trial)
        bench.trials += 1
        bench.depth_trials = trial
        if lower <= reading <= upper:
            break
        pack = next_pack(place, pack, way_gone(bench, place.sign * (target - reading)))
    return pack, reading


def next_pack(place: Location, pack: tuple[int, ...], change: float) -> tuple[int, ...]:
    """Return the pack nearest to the wanted change; at least one step on where rounding would leave it as it is."""
    following = nearest_pack(place, sum(pack) + change)
    if sum(following) == sum(pack) and place.step:
        following = nearest_pack(place, sum(pack) + (place.step if change > 0 else -place.step))
    return following


def _read_again(bench: Bench, place: Location, pack: tuple[int, ...], limits: dict[str, int]) -> None:
    """Repeat the final reading now and then: the stack, the bearing's height, another gauge and technician."""
    rng = bench.rng
    if chance(rng, 0.4):
        bench.read("pack_thickness", place.name, "as_built", sum(pack) + rng.normal(0, 3), place, instrument="MC-1")
    if chance(rng, 0.3):
        height = 18_000 + standing_height(bench, place) + rng.normal(0, 6)
        bench.read("bearing_stand_out", place.name, "as_built", height, place, instrument="MC-1")
    if chance(rng, bench.scenario.gauges.cross_reading_share):
        others = [t.depth_gauge for t in bench.scenario.technicians if t.depth_gauge != bench.depth_gauge]
        other = others[int(rng.integers(0, len(others)))]
        true = true_depth(bench, place, pack)
        for gauge, technician in ((other, bench.second_technician), (bench.depth_gauge, bench.second_technician)):
            raw = bench.gauges.depth_reading(true, gauge, technician, bench.built_day, rng)
            bench.read(
                "pinion_depth", place.name, "as_built", raw, place, instrument=gauge, technician=technician, **limits
            )
