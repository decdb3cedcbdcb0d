"""Set the pinion bearings' preload: no torque until end play is gone, then a line that depends on the make."""

from __future__ import annotations

from demo_warehouse.bench import MOST_TRIALS, Bench, ShimParts
from demo_warehouse.catalogue import Location
from demo_warehouse.habits import goes_to_the_drawer, usual_pack, way_gone
from demo_warehouse.packs import nearest_pack
from demo_warehouse.rows import chance
from demo_warehouse.set_depth import next_pack

PINION_DRAG = 150.0  # millinewton metres, oiled and without seals
TORQUE_PER_UM = {"Tavrik": 52.0, "Merrowin": 46.0, "Zorbeth": 60.0}  # mN.m per micrometre of interference, new bearing
USED_SHARE = 0.6
BREAKAWAY_SHARE = 1.3


def running_torque(interference: float, maker: str, condition: str) -> float:
    """Return the running torque in mN.m at an interference in micrometres; below nought there is end play."""
    rate = TORQUE_PER_UM[maker] * (1.0 if condition == "new" else USED_SHARE)
    return PINION_DRAG + rate * max(interference, 0.0)


def _instrument(bench: Bench) -> str:
    return "TQ-1" if bench.technician in ("MK", "RS") else "TQ-2"


def _interference(bench: Bench, place: Location, pack: tuple[int, ...]) -> float:
    return bench.state.base[place.name] + place.sign * sum(pack)


def _new_bearing(bench: Bench, place: Location) -> None:
    state = bench.state
    if place.bearing in bench.new_bearings:
        state.maker[place.name] = bench.new_bearings[place.bearing]
        state.base[place.name] += bench.rng.normal(
            bench.scenario.setting.tighter_by_new_bearing_um, bench.scenario.setting.new_bearing_um
        )
    else:
        state.base[place.name] -= 6 * bench.worn(place)
    if bench.case_replaced:
        state.base[place.name] += bench.rng.normal(0, bench.scenario.setting.case_um / 2)


def _found(bench: Bench, place: Location, interference: float) -> None:
    worn = interference - 20 * bench.worn(place)
    torque = running_torque(worn, bench.state.maker[place.name], "used")
    raw = max(torque + bench.rng.normal(0, bench.scenario.gauges.torque_reading_mnm), 0.0)
    bench.read("preload_torque", place.name, "as_found", raw, place, instrument=_instrument(bench))


def _trial(bench: Bench, place: Location, interference: float, trial: int, limits: tuple[int, int, int]) -> int:
    target, lower, upper = limits
    torque = running_torque(interference, bench.state.maker[place.name], bench.condition(place, "trial"))
    raw = max(torque + bench.rng.normal(0, bench.scenario.gauges.torque_reading_mnm), 0.0)
    bench.trials += 1
    return bench.read(
        "preload_torque", place.name, "trial", raw, place, trial=trial, target=target, lower=lower, upper=upper,
        instrument=_instrument(bench),
    )  # fmt: skip


def _built(bench: Bench, place: Location, reading: int, limits: tuple[int, int, int]) -> None:
    target, lower, upper = limits
    named = {"target": target, "lower": lower, "upper": upper, "instrument": _instrument(bench)}
    bench.read("preload_torque", place.name, "as_built", reading, place, **named)
    if chance(bench.rng, 0.25):
        raw = BREAKAWAY_SHARE * reading + bench.rng.normal(0, bench.scenario.gauges.torque_reading_mnm)
        bench.read("breakaway_torque", place.name, "as_built", raw, place, instrument=_instrument(bench))


def set_preload(bench: Bench, place: Location, parts: ShimParts) -> None:
    """Choose the pack at a spacer: thicker loosens; end play is measured where the torque says nothing."""
    state, rng = bench.state, bench.rng
    before = state.pack[place.name]
    if bench.reads_found:
        _found(bench, place, _interference(bench, place, before))
        bench.write_pack(place, "as_found", before, parts, None)
    _new_bearing(bench, place)
    limits = place.limits[bench.condition(place, "trial")]
    target, lower, upper = limits
    believed = 50.0 * (1.0 if bench.condition(place, "trial") == "new" else USED_SHARE)
    pack = nearest_pack(place, usual_pack(place)) if goes_to_the_drawer(bench) else before
    reading = target
    for trial in range(1, MOST_TRIALS + 1):
        interference = _interference(bench, place, pack)
        reading = _trial(bench, place, interference, trial, limits)
        bench.write_pack(place, "trial", pack, parts, trial)
        if lower <= reading <= upper:
            break
        tighter = (target - reading) / believed
        if reading < 2 * PINION_DRAG and interference < 0:
            raw = -interference + rng.normal(0, bench.scenario.gauges.backlash_reading_um)
            play = bench.read("end_float", place.name, "trial", max(raw, 0.0), place, trial=trial, instrument="EF-1")
            tighter = play + (target - PINION_DRAG) / believed
        pack = next_pack(place, pack, way_gone(bench, place.sign * tighter))
    _built(bench, place, reading, limits)
    bench.write_pack(place, "as_built", pack, parts, None)
    bench.take_new_pieces(place, before, pack)
    state.pack[place.name] = pack


def set_crush_sleeve(bench: Bench, place: Location) -> None:
    """Tighten a new crush sleeve step by step; it cannot be backed off, so an overshoot takes another sleeve."""
    state, rng = bench.state, bench.rng
    if bench.reads_found:
        _found(bench, place, state.base[place.name])
    _new_bearing(bench, place)
    condition = bench.condition(place, "trial")
    limits = place.limits[condition]
    target, lower, upper = limits
    rate = TORQUE_PER_UM[state.maker[place.name]] * (1.0 if condition == "new" else USED_SHARE)
    needed = (target - PINION_DRAG) / rate
    interference, reading, trial = needed * rng.uniform(0.2, 0.6), target, 0
    bench.used_shims.append((place.name, 0))
    while trial < MOST_TRIALS:
        trial += 1
        reading = _trial(bench, place, interference, trial, limits)
        if lower <= reading <= upper:
            break
        if reading > upper:
            bench.used_shims.append((place.name, 0))
            interference = needed * rng.uniform(0.3, 0.6)
        else:
            interference += max(needed - interference, 4.0) * rng.uniform(0.6, 1.25)
    state.base[place.name] = interference
    _built(bench, place, reading, limits)
