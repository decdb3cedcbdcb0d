"""Set an end float with a selective circlip, a washer, a spacer or shims."""

from __future__ import annotations

from demo_warehouse.bench import MOST_TRIALS, Bench, ShimParts
from demo_warehouse.catalogue import Location
from demo_warehouse.habits import goes_to_the_drawer, usual_pack, way_gone
from demo_warehouse.packs import nearest_pack
from demo_warehouse.set_depth import next_pack


def set_end_float(bench: Bench, place: Location, parts: ShimParts) -> None:
    """Read as found, then change the pack until the float lies within limits; tight reads nought."""
    state, rng = bench.state, bench.rng
    target, lower, upper = place.limits["any"]
    limits = {"target": target, "lower": lower, "upper": upper, "instrument": "EF-1"}
    scatter = bench.scenario.gauges.backlash_reading_um
    before = state.pack[place.name]
    if bench.reads_found:
        found = state.base[place.name] + place.sign * sum(before) + 40 * bench.worn(place)
        bench.read(
            "end_float", place.name, "as_found", max(found + rng.normal(0, scatter), 0), place, instrument="EF-1"
        )
        bench.write_pack(place, "as_found", before, parts, None)
    if place.bearing in bench.new_bearings:
        state.maker[place.name] = bench.new_bearings[place.bearing]
        state.base[place.name] += rng.normal(
            -bench.scenario.setting.float_by_new_bearing_um, bench.scenario.setting.new_bearing_um
        )
    else:
        state.base[place.name] += 15 * bench.worn(place)
    if bench.case_replaced:
        state.base[place.name] += rng.normal(0, bench.scenario.setting.case_um)
    pack = nearest_pack(place, usual_pack(place)) if goes_to_the_drawer(bench) else before
    reading = target
    for trial in range(1, MOST_TRIALS + 1):
        true = state.base[place.name] + place.sign * sum(pack)
        raw = max(true + rng.normal(0, scatter), 0.0)
        reading = bench.read("end_float", place.name, "trial", raw, place, trial=trial, **limits)
        bench.write_pack(place, "trial", pack, parts, trial)
        bench.trials += 1
        if lower <= reading <= upper:
            break
        pack = next_pack(place, pack, way_gone(bench, place.sign * (target - reading)))
    bench.read("end_float", place.name, "as_built", reading, place, **limits)
    bench.write_pack(place, "as_built", pack, parts, None)
    bench.take_new_pieces(place, before, pack)
    state.pack[place.name] = pack
