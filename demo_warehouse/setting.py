"""Set a unit on the bench: found readings, trials until the gauge reads within limits, readings as built."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from demo_warehouse.bench import Bench, GearSetItem, SettingState
from demo_warehouse.catalogue import Family
from demo_warehouse.gauges import LENGTH_STEP
from demo_warehouse.packs import nearest_pack
from demo_warehouse.parts import BEARING_MAKERS, family_code
from demo_warehouse.rounding import on_scale
from demo_warehouse.rows import Rows
from demo_warehouse.scenario import Scenario
from demo_warehouse.set_backlash import backlash_per_shift, set_backlash, wanted_pattern
from demo_warehouse.set_depth import set_depth, signed_marking
from demo_warehouse.set_end_float import set_end_float
from demo_warehouse.set_preload import PINION_DRAG, TORQUE_PER_UM, USED_SHARE, set_crush_sleeve, set_preload

SIDE_INTERFERENCE = 80.0


class SettingWork:
    """Know the scatter of casings and sets, and set one unit after another."""

    def __init__(self, scenario: Scenario, shim_parts: Mapping[tuple[str, str, int], str], rows: Rows) -> None:
        """Begin with set numbers at one."""
        self.scenario = scenario
        self.shim_parts = dict(shim_parts)
        self.rows = rows
        self.sets_made = 0

    def new_gear_set(
        self, family: Family, rng: np.random.Generator, new: bool, beside: int | None, day: int
    ) -> GearSetItem:
        """Make a gear set with its marking and write it down; `beside` keeps a ratio."""
        kind = family.gear_set
        if kind is None:
            raise ValueError(f"{family.name} has no gear set")
        self.sets_made += 1
        step = LENGTH_STEP[family.length_unit] * (2 if family.length_unit == "in" else 1)
        marked = on_scale(rng.normal(0, self.scenario.setting.marking_um), step)
        teeth = beside or int(kind.pinion_teeth[int(rng.integers(0, len(kind.pinion_teeth)))])
        backlash = on_scale(160 + rng.normal(0, 15), 10.0) if kind.marked_backlash else None
        place = family.location_for("pinion_depth")
        assert place is not None
        target = place.limits["any"][0] + signed_marking(kind.sign_rule, marked)
        number = f"{family_code(family.name)}S-{20000 + 7 * self.sets_made}"
        self.rows.add(
            "gear_set",
            set_number=number,
            family=family.name,
            wheel_teeth=kind.wheel_teeth,
            pinion_teeth=teeth,
            tooth_form=kind.tooth_form,
            pitch_angle=kind.pitch_mdeg(teeth),
            pressure_angle=kind.pressure_mdeg,
            spiral_angle=kind.spiral_mdeg,
            marked_depth=marked,
            sign_rule=kind.sign_rule,
            marked_backlash=backlash,
            set_condition="new" if new else "used",
            matched_members=f"{number}W {number}P",
            entered=day,
        )
        return GearSetItem(
            number, teeth, marked, backlash, target + rng.normal(0, self.scenario.setting.pinion_um), new
        )

    def as_it_left_the_maker(self, family: Family, rng: np.random.Generator, day: int) -> SettingState:
        """Draw the true dimensions of a unit that the bench sees for the first time."""
        state = SettingState(run_out=float(rng.uniform(15, 60)))
        scatter = self.scenario.setting
        if family.gear_set is not None:
            state.gear_set = self.new_gear_set(family, rng, new=False, beside=None, day=day)
        for place in family.locations:
            state.maker[place.name] = BEARING_MAKERS[int(rng.integers(0, 2))]
            if place.thinnest is not None and place.thickest is not None:
                middle = (place.thinnest + place.thickest) / 2
                spread = min(scatter.case_um * 1.4, (place.thickest - place.thinnest) / 5)
                state.pack[place.name] = nearest_pack(place, rng.normal(middle, spread))
            total = sum(state.pack.get(place.name, ()))
            if place.quantity == "pinion_depth":
                assert state.gear_set is not None
                error = rng.normal(0, scatter.factory_um)
                state.base[place.name] = state.gear_set.true_target + error - place.sign * total
                state.depth_error = error
            elif place.quantity == "end_float":
                state.base[place.name] = place.limits["any"][0] + rng.normal(0, 12) - place.sign * total
            elif place.quantity == "preload_torque":
                wanted = (place.limits["used"][0] - PINION_DRAG) / (TORQUE_PER_UM["Tavrik"] * USED_SHARE)
                state.base[place.name] = wanted + rng.normal(0, 6) - place.sign * total
        self._sides(family, state, rng)
        return state

    def _sides(self, family: Family, state: SettingState, rng: np.random.Generator) -> None:
        sides = [place for place in family.locations if place.quantity == "backlash"]
        if len(sides) != 2 or state.gear_set is None or family.gear_set is None:
            return
        left, right = (sum(state.pack.get(place.name, ())) for place in sides)
        target = state.gear_set.marked_backlash or sides[0].limits["any"][0]
        shift = (left - right) / 2
        state.side_space = left + right - SIDE_INTERFERENCE + rng.normal(0, 15)
        state.backlash_base = target + rng.normal(0, 15) - backlash_per_shift(family, state.gear_set) * shift

    def set_up(self, bench: Bench, locations: set[str]) -> None:
        """Set the named locations of the unit on the bench, in the order depth, preload, backlash, end float."""
        state, family = bench.state, bench.unit.family
        old = state.gear_set
        if old is not None and bench.new_set:
            state.gear_set = self.new_gear_set(
                family, bench.rng, new=True, beside=old.pinion_teeth, day=bench.built_day
            )
        elif old is not None:
            old.new = False
        for place in family.locations:
            if place.name not in locations:
                continue
            if place.quantity == "pinion_depth" and old is not None:
                set_depth(bench, place, old, self.shim_parts)
            elif place.sits == "crush_sleeve":
                set_crush_sleeve(bench, place)
            elif place.quantity == "preload_torque":
                set_preload(bench, place, self.shim_parts)
            elif place.quantity == "end_float":
                set_end_float(bench, place, self.shim_parts)
        if any(p.quantity == "backlash" and p.name in locations for p in family.locations):
            set_backlash(bench, self.shim_parts)
            wanted_pattern(bench)
