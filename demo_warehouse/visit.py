"""Play one visit to the bench from the complaint to the delivery, and write its rows."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from demo_warehouse.bench import Bench, SettingState
from demo_warehouse.clues import complaint_of, damage_of, oil_of
from demo_warehouse.days import date_of
from demo_warehouse.fit_parts import fit_parts
from demo_warehouse.paperwork import write_paperwork
from demo_warehouse.rounding import clock_metres
from demo_warehouse.rows import Row, chance
from demo_warehouse.teardown import (
    SETTING_POSITIONS,
    Inspected,
    decide_actions,
    grade_of,
    sliders_reused_with_new_rings,
    suspected,
)
from demo_warehouse.trouble import FittedPiece, Threat, Trouble, threats_of
from demo_warehouse.vehicles import Unit, Vehicle
from demo_warehouse.world import World


@dataclass
class Visit:
    """Hold one visit while it is played, and what later events need of it."""

    job: str
    unit: Unit
    vehicle: Vehicle | None
    kind: str
    reason: str
    opened: int
    torn_down: int
    closed: int
    delivered: int | None
    technician: str
    distance: float
    row: Row
    duty: str
    refitted_by_us: bool
    reuse_sliders: bool
    trouble: Trouble | None = None
    items: list[Inspected] = field(default_factory=list)
    declined: list[str] = field(default_factory=list)
    pieces: list[FittedPiece] = field(default_factory=list)
    new_bearings: dict[str, str] = field(default_factory=dict)
    threats: list[Threat] = field(default_factory=list)
    sliders_reused: bool = False
    depth_error: float = 0.0
    trials: int = 0
    case_replaced: bool = False
    new_set: bool = False
    used_shims: list[tuple[str, int]] = field(default_factory=list)
    free_of_charge: bool = False
    part_cost: int = 0
    part_price: int = 0
    suppliers: dict[str, str] = field(default_factory=dict)  # position -> supplier of the part fitted there

    @property
    def warranty_months(self) -> int:
        """Return the months of warranty sold with the job."""
        return int(self.row.get("warranty_months") or 0)

    def in_warranty(self, day: int, distance: float) -> bool:
        """Return whether a day and a unit distance lie within what was sold."""
        if self.delivered is None or not self.warranty_months:
            return False
        months = (day - self.delivered) / 30.4375
        return months <= self.warranty_months and distance - self.distance <= (self.row["warranty_distance"] or 0)

    @property
    def touched(self) -> set[str]:
        """Return the positions that the job replaced, reworked or adjusted."""
        return {i.position.name for i in self.items if i.action not in ("reused", "left_worn")}


def choose_kind(world: World, unit: Unit, causes: list[int], reason: str, rng: np.random.Generator) -> str:
    """Return the kind of job that a complaint becomes."""
    shop = world.scenario.workshop
    if reason in ("preventive", "core"):
        return "full_rebuild"
    if reason == "look":
        return "inspection"
    if reason == "comeback":
        return "part_rebuild"
    components = {unit.family.positions[i].component for i in causes}
    if components <= {"seal", "casing"} and chance(rng, 0.7):
        return "reseal"
    names = {unit.family.positions[i].name for i in causes}
    if unit.family.gear_set is not None and names & SETTING_POSITIONS and chance(rng, shop.setup_only_share):
        return "setup_only"
    return "full_rebuild" if chance(rng, shop.full_rebuild_share) else "part_rebuild"


def open_visit(
    world: World,
    unit: Unit,
    vehicle: Vehicle | None,
    day: int,
    reason: str,
    kind: str,
    causes: list[int],
    trouble: Trouble | None,
    rng: np.random.Generator,
) -> Visit:
    """Write the job and its complaints as they stand on the day the job is opened."""
    fleet = vehicle.fleet if vehicle else None
    distance = vehicle.unit_distance(day) if vehicle else unit.distance_at_fitting
    technician = world.technician(day, rng)
    torn = day + 1 + int(rng.integers(0, 6))
    by_us = chance(rng, fleet.refitted_by_us if fleet else world.scenario.private.refitted_by_us)
    job = world.next_number("J", date_of(day).year)
    row = world.rows.add(
        "job", job=job, unit=unit.tag, kind=kind, opened=day, torn_down=torn, technician=technician.code
    )
    visit = Visit(
        job=job, unit=unit, vehicle=vehicle, kind=kind, reason=reason, opened=day, torn_down=torn, closed=torn,
        delivered=None, technician=technician.code, distance=distance, row=row,
        duty=vehicle.duty if vehicle else "mixed", refitted_by_us=by_us and vehicle is not None,
        reuse_sliders=chance(rng, world.scenario.planted.slider_reused.share_of_jobs), trouble=trouble,
    )  # fmt: skip
    _write_usage(world, visit, rng)
    _write_complaints(world, visit, causes, rng)
    world.realised.came_in.add(unit.tag)
    unit.visits += 1
    return visit


def _write_usage(world: World, visit: Visit, rng: np.random.Generator) -> None:
    """Write odometer, the unit's own distance, hours and how they are known."""
    vehicle, row, unit = visit.vehicle, visit.row, visit.unit
    row["entered"] = visit.opened
    if vehicle is None:
        row |= {"usage_basis": "unknown", "arrival": "loose", "customer": "workshop stock"}
        return
    row |= {
        "duty": vehicle.duty,
        "customer": vehicle.owner,
        "fleet": vehicle.fleet.name if vehicle.fleet else None,
        "arrival": "in_vehicle" if chance(rng, 0.35) else "loose",
        "refitted_by": "us" if visit.refitted_by_us else "fleet" if vehicle.fleet else "other_workshop"
        if chance(rng, 0.7) else "owner",
        "hours": vehicle.hours(visit.opened),
    }  # fmt: skip
    odometer = clock_metres(vehicle.odometer(visit.opened), visit.opened)
    drawn = rng.random()
    if vehicle.fleet is None and drawn < 0.05:
        row["usage_basis"] = "unknown"
    elif vehicle.fleet is None and drawn < 0.13:
        row |= {
            "usage_basis": "estimated",
            "odometer": clock_metres(max(1.0, round(odometer * rng.normal(1, 0.06) / 5e6)) * 5e6, visit.opened),
        }
    elif vehicle.fleet is None and drawn < 0.15:
        row |= {
            "usage_basis": "clock_replaced",
            "odometer": clock_metres(odometer * rng.uniform(0.1, 0.6), visit.opened),
        }
    else:
        row |= {"usage_basis": "read", "odometer": odometer}
        if unit.distance_known:
            row["unit_distance"] = clock_metres(visit.distance, visit.opened)


def _write_complaints(world: World, visit: Visit, causes: list[int], rng: np.random.Generator) -> None:
    """Write since when and what it does; a routine visit says so."""
    row, vehicle = visit.row, visit.vehicle
    positions = [visit.unit.family.positions[i] for i in causes]
    changed = chance(rng, 0.15)
    ratios = _ratios(visit)
    worn = [p for p, r in zip(visit.unit.family.positions, ratios, strict=True) if r >= 1.0]
    row["oil_brass"], row["oil_steel"] = oil_of(worn, changed, rng)
    row["oil_changed_recently"] = changed
    if not positions:
        world.rows.add("complaint", job=visit.job, complaint="service")
        return
    since = None
    if vehicle is not None:
        began = min(visit.opened - 1, _began(visit, causes))
        if chance(rng, 0.85):
            since = row["complaint_since"] = began
            if row.get("usage_basis") == "read" and chance(rng, 0.7):
                row["odometer_since"] = clock_metres(vehicle.odometer(began), visit.opened)
    said = set()
    for position in positions:
        complaint = complaint_of(position, rng)
        if (complaint.complaint, complaint.gear) in said:
            continue
        said.add((complaint.complaint, complaint.gear))
        world.rows.add(
            "complaint", job=visit.job, complaint=complaint.complaint, when_heard=complaint.when_heard,
            gear=complaint.gear, shift_direction=complaint.shift_direction, place=complaint.place, since=since,
        )  # fmt: skip


def _began(visit: Visit, causes: list[int]) -> int:
    if visit.trouble is not None:
        return visit.trouble.day
    assert visit.vehicle is not None
    return visit.vehicle.day_at_unit_distance(float(min(visit.unit.complains_at[i] for i in causes)))


def _ratios(visit: Visit) -> np.ndarray:
    """Return age over life of every position; what the trouble names counts as failed where a part failed."""
    unit = visit.unit
    ratios: np.ndarray = (visit.distance - unit.start) / np.maximum(unit.worn_at - unit.start, 1.0)
    if visit.trouble is not None and visit.trouble.outcome in ("part", "abuse") and visit.trouble.position:
        for index, position in enumerate(unit.family.positions):
            if position.name == visit.trouble.position:
                ratios[index] = max(ratios[index], 1.05)
    return ratios


def strip_and_decide(world: World, visit: Visit, causes: list[int], rng: np.random.Generator) -> None:
    """Inspect, grade, decide and write the findings."""
    unit, ratios = visit.unit, _ratios(visit)
    for index in suspected(unit.family, visit.kind, causes, rng):
        position, ratio = unit.family.positions[index], float(ratios[index])
        grade = grade_of(ratio, rng)
        role = (
            "cause" if index in causes and grade >= 3 else "failed" if grade >= 3 else "worn" if grade == 2 else "sound"
        )
        visit.items.append(
            Inspected(index, position, ratio, float(visit.distance - unit.start[index]) / 1000, grade, role)
        )
    may_decline = visit.vehicle is not None and visit.vehicle.fleet is None
    visit.declined = decide_actions(visit.items, visit.kind, visit.reuse_sliders, may_decline, rng)
    if visit.trouble is not None and visit.trouble.outcome == "our_work":
        for item in visit.items:
            if item.position.name == visit.trouble.position and not item.failed:
                item.role, item.action = "cause", "adjusted"
    visit.sliders_reused = sliders_reused_with_new_rings(visit.items)
    visit.case_replaced = any(i.replaced and i.position.component == "casing" for i in visit.items)
    visit.new_set = any(i.replaced and i.position.component == "crown_wheel_pinion" for i in visit.items)
    for item in visit.items:
        _write_finding(world, visit, item, rng)


def _write_finding(world: World, visit: Visit, item: Inspected, rng: np.random.Generator) -> None:
    ring = item.position.component == "synchroniser_ring"
    gap = end_float = None
    if ring and chance(rng, 0.5):
        gap = max(0, round((1200 - 700 * min(item.ratio, 1.5) + rng.normal(0, 30)) / 50) * 50)
    if item.position.component in ("thrust_washer", "gear") and chance(rng, 0.5):
        end_float = max(0, round((120 + 300 * min(item.ratio, 1.5) + rng.normal(0, 20)) / 10) * 10)
    if item.failed or (item.role == "cause" and not ring):
        item.damage_mode = damage_of(item.position, rng)
    world.rows.add(
        "finding",
        job=visit.job,
        position=item.position.name,
        grade=str(item.grade),
        ring_gap=gap,
        end_float=end_float,
        damage_mode=item.damage_mode,
        role=item.role,
        action=item.action,
        entered=visit.torn_down,
    )


def set_on_bench(world: World, visit: Visit, rng: np.random.Generator) -> None:
    """Set the locations that the work touched."""
    unit = visit.unit
    if unit.setting is None:
        unit.setting = world.setting.as_it_left_the_maker(unit.family, rng, visit.torn_down)
    state: SettingState = unit.setting  # type: ignore[assignment]
    if state.gear_set is not None:
        visit.row["gear_set_found"] = visit.row["gear_set_built"] = state.gear_set.number
    locations = _locations_to_set(visit)
    if not locations:
        return
    technician = next(t for t in world.scenario.technicians if t.code == visit.technician)
    own = chance(rng, world.scenario.gauges.own_gauge_share)
    gauges = sorted({t.depth_gauge for t in world.scenario.technicians})
    bench = Bench(
        scenario=world.scenario, gauges=world.gauges, rows=world.rows,
        rng=world.rng(16, unit.number, unit.visits),  # of its own: habits at the bench move nothing else
        job=visit.job, unit=unit, state=state,
        found_day=visit.torn_down, built_day=visit.closed, technician=visit.technician,
        depth_gauge=technician.depth_gauge if own else gauges[int(rng.integers(0, len(gauges)))],
        new_bearings=visit.new_bearings, wear={i.position.name: i.ratio for i in visit.items},
        case_replaced=visit.case_replaced, new_set=visit.new_set, reads_found=chance(rng, 0.88),
        second_technician=world.technician(visit.closed, rng, other_than=visit.technician).code,
    )  # fmt: skip
    world.setting.set_up(bench, locations)
    if state.gear_set is not None:
        visit.row["gear_set_built"] = state.gear_set.number
    visit.trials, visit.used_shims = bench.trials, bench.used_shims
    if bench.depth_trials:
        visit.depth_error = state.depth_error
        _note_setting(world, visit, bench)


def _note_setting(world: World, visit: Visit, bench: Bench) -> None:
    bias = world.gauges.bias(bench.depth_gauge, visit.closed)
    world.realised.settings.append(
        {
            "job": visit.job,
            "instrument": bench.depth_gauge,
            "true_depth_error_um": round(visit.depth_error, 1),
            "gauge_bias_um": round(bias, 1),
            "depth_trials": bench.depth_trials,
        }
    )
    if bias != 0.0:
        world.realised.drift_jobs.append({"job": visit.job, "bias_um": round(bias, 1)})


def _locations_to_set(visit: Visit) -> set[str]:
    family = visit.unit.family
    every = {place.name for place in family.locations}
    if visit.kind in ("full_rebuild", "setup_only"):
        return every
    if visit.kind != "part_rebuild":
        return set()
    adjusted = any(i.action == "adjusted" and i.position.component == "crown_wheel_pinion" for i in visit.items)
    if visit.new_set or visit.case_replaced or adjusted:
        return every
    return {place.name for place in family.locations if place.bearing in visit.new_bearings}


def play_visit(world: World, visit: Visit, causes: list[int], rng: np.random.Generator) -> Visit:
    """Take an opened visit through teardown, parts, setting, paperwork and the hazards it leaves behind."""
    strip_and_decide(world, visit, causes, rng)
    visit.row["earlier_work"] = _earlier_work(visit, rng)
    visit.closed = visit.torn_down + 1 + int(rng.integers(1, 8 if visit.kind == "full_rebuild" else 5))
    fit_parts(world, visit, rng)
    set_on_bench(world, visit, rng)
    write_paperwork(world, visit, rng)
    if visit.kind == "inspection":
        return visit
    visit.threats = threats_of(
        world.scenario, visit.pieces, visit.sliders_reused, visit.depth_error, visit.refitted_by_us, visit.duty
    )
    return visit


def _earlier_work(visit: Visit, rng: np.random.Generator) -> str:
    if visit.unit.visits > 1:
        return "ours"
    if visit.unit.opened_elsewhere:
        return "others" if chance(rng, 0.85) else "none"
    return "none"
