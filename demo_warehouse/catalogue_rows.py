"""Write what the workshop knows of families, parts, kits, limits and prices."""

from __future__ import annotations

from demo_warehouse.catalogue import Family, Location
from demo_warehouse.world import World

RING_GAP_LIMIT = 500
RUN_OUT_LIMIT = 80


def write_catalogue(world: World) -> None:
    """Write families, positions, shim locations, specifications, parts, kits and price lists."""
    for family in world.families.values():
        _write_family(world, family)
    for part in world.book.parts.values():
        world.rows.add(
            "part", part=part.number, description=part.description, component=part.component, family=part.family,
            location=part.location, thickness=part.thickness, entered=world.start,
        )  # fmt: skip
        for supplier in part.suppliers:
            for day in world.prices.valid_days(supplier, world.start, world.end):
                world.rows.add(
                    "price_list", part=part.number, supplier=supplier, valid_from=day,
                    cost=world.prices.cost(part, supplier, day), lead_days=part.lead_days,
                    order_quantity=1000 * max(1, part.lot_pieces // 2), entered=day,
                )  # fmt: skip
    for lines in world.book.kits.values():
        for line in lines:
            world.rows.add(
                "kit",
                kit=line.kit,
                part=line.part,
                position=line.position,
                quantity=1000 * line.pieces,
                entered=world.start,
            )


def _write_family(world: World, family: Family) -> None:
    first = world.start
    world.rows.add(
        "family",
        family=family.name,
        kind=family.kind,
        description=family.description,
        speeds=family.speeds,
        entered=first,
    )
    for position in family.positions:
        world.rows.add(
            "position", family=family.name, position=position.name, component=position.component,
            material=position.material, gear=position.gear, mate=position.mate, entered=first,
        )  # fmt: skip
    for place in family.locations:
        world.rows.add(
            "shim_location", family=family.name, location=place.name, sits=place.sits, quantity=place.quantity,
            thicker_moves=place.thicker_moves, thinnest=place.thinnest, thickest=place.thickest, step=place.step,
            stackable=place.stackable, side=place.side, entered=first,
        )  # fmt: skip
        _write_limits(world, family, place)
    if any(p.component == "synchroniser_ring" for p in family.positions):
        _limit(world, family, None, "ring_gap", "any", "any", "constant", None, RING_GAP_LIMIT, 2000)
    if family.gear_set is not None:
        _limit(world, family, None, "run_out", "any", "any", "constant", None, 0, RUN_OUT_LIMIT)


def _limit(
    world: World, family: Family, location: str | None, quantity: str, gear_set: str, bearing: str, basis: str,
    constant: int | None, lower: int | None, upper: int | None,
) -> None:  # fmt: skip
    torque = quantity.endswith("torque")
    world.rows.add(
        "specification",
        family=family.name,
        location=location,
        quantity=quantity,
        gear_set_condition=gear_set,
        bearing_condition=bearing,
        basis=basis,
        constant=constant,
        lower=lower,
        upper=upper,
        unit_written="N.m" if torque else family.length_unit,
        torque_kind="running" if torque else None,
        seals="off" if torque else None,
        oiled=True if torque else None,
        cold=True,
        entered=world.start,
    )


def _write_limits(world: World, family: Family, place: Location) -> None:
    """Write a location's limits by what they rest on."""
    if place.quantity == "pinion_depth":
        constant, lower, upper = place.limits["any"]
        rule = "constant_plus_marked_deviation"
        _limit(world, family, place.name, "pinion_depth", "new", "any", rule, constant, lower, upper)
        _limit(world, family, place.name, "pinion_depth", "used", "any", "recorded_before_strip", None, lower, upper)
    elif place.quantity == "preload_torque":
        for condition in ("new", "used"):
            target, lower, upper = place.limits[condition]
            _limit(world, family, place.name, "preload_torque", "any", condition, "constant", target, lower, upper)
    elif place.quantity == "backlash" and place.side == "left":
        target, lower, upper = place.limits["any"]
        if family.gear_set is not None and family.gear_set.marked_backlash:
            _limit(world, family, place.name, "backlash", "new", "any", "marked_on_part", None, lower, upper)
            _limit(world, family, place.name, "backlash", "used", "any", "recorded_before_strip", None, lower, upper)
        else:
            _limit(world, family, place.name, "backlash", "any", "any", "constant", target, lower, upper)
        if place.takes_shims:
            total = (2000, 4200) if family.location_for("preload_torque") else (900, 2200)
            _limit(world, family, place.name, "total_preload_torque", "any", "new", "constant", None, *total)
    elif place.quantity == "end_float":
        target, lower, upper = place.limits["any"]
        _limit(world, family, place.name, "end_float", "any", "any", "constant", target, lower, upper)
