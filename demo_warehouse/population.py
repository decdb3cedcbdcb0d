"""Make the vehicles and units: fleets with registers, private owners, and cores on the shelf."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from demo_warehouse.days import DAYS_A_MONTH, DAYS_A_YEAR, day_of
from demo_warehouse.parts import family_code
from demo_warehouse.rows import chance, pick
from demo_warehouse.scenario import Fleet
from demo_warehouse.vehicles import Unit, Vehicle
from demo_warehouse.world import World


def make_unit(world: World, family_name: str, in_service: int, rng: np.random.Generator) -> Unit:
    """Make a unit with its tag and serial number; some are known by the serial number alone."""
    number = len(world.units) + 1
    code = family_code(family_name)
    serial = f"{code}{int(rng.integers(100_000, 999_999))}{chr(65 + int(rng.integers(0, 26)))}"
    by_serial = chance(rng, world.scenario.private.serial_only)
    unit = Unit(
        tag=f"{serial}-{number}" if by_serial else f"{code}-{number:05d}",
        family=world.families[family_name],
        number=number,
        in_service=in_service,
        serial=None if by_serial else serial,
    )
    world.units.append(unit)
    return unit


def _vehicle(
    world: World, fleet: Fleet | None, duty: Mapping[str, float], km: float, spread: float, begins: int,
    rng: np.random.Generator,
) -> Vehicle:  # fmt: skip
    usage, private = world.scenario.usage, world.scenario.private
    number = len(world.vehicles) + 1
    lasts = max(4.0, rng.normal(usage.retires_after_years, usage.retires_spread_years)) * DAYS_A_YEAR
    vehicle = Vehicle(
        reference=f"{fleet.code}{number:04d}" if fleet else f"PV{number:05d}",
        number=number,
        fleet=fleet,
        owner=fleet.name if fleet else f"Owner {number:05d}",
        duty=pick(rng, dict(duty)),
        metres_a_day=1000 * km * float(rng.lognormal(0, spread)) / DAYS_A_MONTH,
        begins=begins,
        retires=begins + int(lasts),
        swing=usage.season_days,
        phase=float(rng.uniform(0, 6.28)),
        comes_to_us=fleet is not None or chance(rng, private.comes_to_us),
        followed=fleet is not None or chance(rng, private.followed),
        exchange=fleet.exchange if fleet else chance(rng, private.exchange),
        rng=rng,
        hours_per_km=fleet.hours_per_1000_km / 1000 if fleet else 0.0,
    )
    world.vehicles.append(vehicle)
    return vehicle


def _fit_new(world: World, vehicle: Vehicle, family: str) -> Unit:
    unit = make_unit(world, family, vehicle.begins, vehicle.rng)
    vehicle.unit = unit
    every = np.arange(len(unit.family.positions))
    world.lives.begin(unit, every, 0.0, vehicle.duty, "new", vehicle.rng)
    return unit


def make_fleet(world: World, number: int, fleet: Fleet) -> None:
    """Make one fleet's vehicles; those whose register entry would lie after the end are not listed."""
    register = day_of(fleet.register_from)
    for k in range(round(fleet.vehicles * world.scenario.scale)):
        rng = world.rng(10, number, k)
        joins = chance(rng, fleet.joins_share)
        while True:
            if not joins:
                begins = register - int(rng.uniform(0.05, 8.0) * DAYS_A_YEAR)
                entry = register
            else:
                entry = int(rng.integers(register + 30, world.end - 90))
                begins = entry - (int(rng.integers(0, 25)) if chance(rng, 0.6) else int(rng.integers(300, 1500)))
            vehicle = _vehicle(world, fleet, fleet.duty, fleet.km_per_month, fleet.km_spread, begins, rng)
            if vehicle.retires > entry + 30:
                break
            world.vehicles.pop()
        vehicle.joined = entry
        unit = _fit_new(world, vehicle, pick(rng, dict(fleet.families)))
        unit.register_entry = entry


def make_private(world: World) -> None:
    """Make the private owners' vehicles, of which only some ever come here."""
    private = world.scenario.private
    for k in range(round(private.vehicles * world.scenario.scale)):
        rng = world.rng(11, k)
        while True:
            begins = int(rng.integers(world.start - int(16 * DAYS_A_YEAR), world.end - 400))
            vehicle = _vehicle(world, None, private.duty, private.km_per_month, private.km_spread, begins, rng)
            if vehicle.retires > world.start + 60:
                break
            world.vehicles.pop()
        vehicle.joined = world.start
        unit = _fit_new(world, vehicle, pick(rng, dict(private.families)))
        unit.in_service_known = chance(rng, 0.6)
        unit.distance_known = unit.in_service_known


def make_population(world: World) -> None:
    """Make every vehicle and unit of the scenario."""
    for number, fleet in enumerate(world.scenario.fleets):
        make_fleet(world, number, fleet)
    make_private(world)
