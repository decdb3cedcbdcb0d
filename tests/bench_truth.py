"""Know what the invented workshop's units would have read with other packs: the generator's own answer."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np
import pytest

from demo_warehouse import setting
from demo_warehouse.bench import TORQUE_STEP, Bench
from demo_warehouse.catalogue import Location
from demo_warehouse.rounding import on_scale
from demo_warehouse.set_backlash import BACKLASH_PER_DEPTH, POINTS, backlash_per_shift
from demo_warehouse.set_depth import standing_height
from demo_warehouse.set_preload import running_torque

Reading = Callable[[float, np.random.Generator], float]
Expected = Callable[[float], float]


@dataclass(frozen=True)
class Truth:
    """Hold for each job and location (the left one of a pair) the reading that a pack in um would give.

    `plays` gives, for a preload, the end play (um) that could be measured instead, nought once it is gone. `expected`
    is what a pack would read on average for one who knows the unit as it came in to the micrometre, every planted
    mean, the gauge and the technician, but not what the new bearing, casing or gear set at hand will bring.
    """

    readings: dict[tuple[str, str], Reading]
    plays: dict[tuple[str, str], Callable[[float], float]]
    expected: dict[tuple[str, str], Expected]


def _depth(bench: Bench, place: Location) -> Reading:
    base = bench.state.base[place.name] + standing_height(bench, place)
    off = bench.gauges.bias(bench.depth_gauge, bench.built_day) + bench.gauges.technician_bias[bench.technician]
    step, noise = bench.length_step, bench.scenario.gauges.single_reading_um
    return lambda pack, rng: on_scale(base + off + place.sign * pack + rng.normal(0, noise), step)


def _end_float(bench: Bench, place: Location) -> Reading:
    base, step, noise = bench.state.base[place.name], bench.length_step, bench.scenario.gauges.backlash_reading_um
    return lambda pack, rng: on_scale(max(base + place.sign * pack + rng.normal(0, noise), 0.0), step)


def _preload(bench: Bench, place: Location) -> Reading:
    base, make, condition = bench.state.base[place.name], bench.state.maker[place.name], bench.condition(place, "trial")
    step, noise = TORQUE_STEP[bench.torque_unit()], bench.scenario.gauges.torque_reading_mnm

    def read(pack: float, rng: np.random.Generator) -> float:
        torque = running_torque(base + place.sign * pack, make, condition)
        return on_scale(max(torque + rng.normal(0, noise), 0.0), step)

    return read


def _backlash(bench: Bench) -> Reading:
    state, step, noise = bench.state, bench.length_step, bench.scenario.gauges.backlash_reading_um
    assert state.gear_set is not None
    gain = backlash_per_shift(bench.unit.family, state.gear_set)
    level, run_out = state.backlash_base + BACKLASH_PER_DEPTH * state.depth_error, state.run_out

    def read(shift: float, rng: np.random.Generator) -> float:
        phase = rng.uniform(0, 2 * np.pi)
        swing = run_out / 2 * np.cos(phase + np.pi / 2 * np.arange(POINTS))
        raw = np.maximum(max(level + gain * shift, 0.0) + swing + rng.normal(0, noise, POINTS), 0.0)
        return float(np.mean([on_scale(float(value), step) for value in raw]))

    return read


def _mean_change(bench: Bench, place: Location) -> float:
    """Return what the rebuild will change on average of a dimension, in um of the reading's direction."""
    scatter, worn = bench.scenario.setting, bench.worn(place)
    new = place.bearing in bench.new_bearings
    if place.quantity == "pinion_depth":
        return -scatter.depth_by_new_bearing_um if new else 0.0
    if place.quantity == "end_float":
        return -scatter.float_by_new_bearing_um if new else 15 * worn
    if place.quantity == "backlash":
        return -scatter.backlash_by_new_bearing_um if new else 0.0
    return scatter.tighter_by_new_bearing_um if new else -6 * worn


def _expected(bench: Bench, place: Location, found_base: float) -> Expected:
    """Return the mean reading of a pack, from the unit as it came in; called once the unit is set."""
    base = found_base + _mean_change(bench, place)
    if place.quantity == "pinion_depth":
        base += standing_height(bench, place)
        base += bench.gauges.bias(bench.depth_gauge, bench.built_day) + bench.gauges.technician_bias[bench.technician]
    if place.quantity != "preload_torque":
        return lambda pack: base + place.sign * pack
    make, condition = bench.state.maker[place.name], bench.condition(place, "trial")
    return lambda pack: running_torque(base + place.sign * pack, make, condition)


def _expected_backlash(bench: Bench, found_base: float) -> Expected:
    state, setting_scatter = bench.state, bench.scenario.setting
    assert state.gear_set is not None
    base = found_base + BACKLASH_PER_DEPTH * state.depth_error
    base += sum(_mean_change(bench, place) for place in bench.unit.family.locations if place.quantity == "backlash")
    base += setting_scatter.backlash_by_new_set_um if bench.new_set else 0.0
    gain = backlash_per_shift(bench.unit.family, state.gear_set)
    return lambda shift: base + gain * shift


@contextmanager
def truth_kept() -> Iterator[Truth]:
    """Keep what every unit set meanwhile would read with other packs."""
    truth = Truth({}, {}, {})
    with pytest.MonkeyPatch.context() as patch:
        for name, reading in (("set_depth", _depth), ("set_preload", _preload), ("set_end_float", _end_float)):
            patch.setattr(setting, name, _keeping(truth, getattr(setting, name), reading))
        before = setting.set_backlash

        def set_backlash(bench: Bench, parts: object) -> None:
            found_base = bench.state.backlash_base
            before(bench, parts)  # type: ignore[arg-type]
            left = next(place for place in bench.unit.family.locations if place.quantity == "backlash")
            if left.takes_shims:
                truth.readings[bench.job, left.name] = _backlash(bench)
                truth.expected[bench.job, left.name] = _expected_backlash(bench, found_base)

        patch.setattr(setting, "set_backlash", set_backlash)
        yield truth


def _keeping(
    truth: Truth, work: Callable[..., None], reading: Callable[[Bench, Location], Reading]
) -> Callable[..., None]:
    def keep(bench: Bench, place: Location, *more: object) -> None:
        found_base = bench.state.base[place.name]
        work(bench, place, *more)
        truth.readings[bench.job, place.name] = reading(bench, place)
        truth.expected[bench.job, place.name] = _expected(bench, place, found_base)
        if place.quantity == "preload_torque":
            base = bench.state.base[place.name]
            truth.plays[bench.job, place.name] = lambda pack: max(-base - place.sign * pack, 0.0)

    return keep
