"""Draw the parts of a visit from supply, start the new lives and write the part lines."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from demo_warehouse.days import years_since
from demo_warehouse.parts import family_code
from demo_warehouse.rows import chance
from demo_warehouse.scenario import PartTrend
from demo_warehouse.supply import Drawn
from demo_warehouse.trouble import FittedPiece
from demo_warehouse.world import World

if TYPE_CHECKING:
    from demo_warehouse.visit import Visit

PIECE = 1000  # thousandths
DONOR_PARTS = frozenset({"gear", "shaft", "casing", "hub", "fork"})
RECONDITIONED_PARTS = frozenset({"slider", "engagement_teeth", "gear", "differential_gears"})


def fit_parts(world: World, visit: Visit, rng: np.random.Generator) -> None:
    """Fit what the findings ask for, with kits, oil and sundries, and restart lives."""
    if visit.kind == "inspection":
        return
    kit = f"{family_code(visit.unit.family.name)}-SEAL-KIT" if visit.kind == "full_rebuild" else None
    renewed, factors = [], []
    for item in visit.items:
        if item.action == "reworked":
            renewed.append(item.index)
            factors.append(1.0)
            number = world.part_of(visit.unit, item.position.name)
            world.rows.add(
                "part_line", job=visit.job, part=number, movement="fitted", position=item.position.name,
                origin="own_refitted", quantity=PIECE, unit_cost=0, unit_price=0,
            )  # fmt: skip
        if item.replaced:
            renewed.append(item.index)
            factors.append(_fit_at_position(world, visit, item.index, kit, rng))
    if renewed:
        index = np.array(renewed)
        world.lives.begin(visit.unit, index, visit.distance, visit.duty, "here", rng, np.array(factors))
    _kit_remainder(world, visit, kit, rng)
    _oil_and_sundries(world, visit, rng)


def _fit_at_position(world: World, visit: Visit, index: int, kit: str | None, rng: np.random.Generator) -> float:
    """Fit one position's part; return the factor that its maker puts on its life."""
    position = visit.unit.family.positions[index]
    number = world.part_of(visit.unit, position.name)
    drawn = world.supply.draw(number, 1, visit.opened, visit.torn_down, rng)[0]
    origin = _origin(visit, position.component, rng)
    from_kit = kit if position.component == "seal" else None
    _write_line(world, visit, drawn, position.name, origin, from_kit)
    _wait_for(world, visit, drawn)
    if position.component in ("bearing",):
        visit.new_bearings[position.name] = drawn.maker
    if origin == "new":
        visit.pieces.append(FittedPiece(position.name, position.component, drawn.bad))
    if drawn.bad and origin == "new":
        world.realised.bad_lot.append({"job": visit.job, "position": position.name, "lot": drawn.lot})
    planted = world.scenario.planted.maker_life
    short = position.component == planted.component and drawn.maker == planted.maker and origin == "new"
    return planted.life_factor if short else 1.0


def _origin(visit: Visit, component: str, rng: np.random.Generator) -> str:
    if visit.kind == "setup_only":
        return "customer_supplied"
    drawn = rng.random()
    if component in RECONDITIONED_PARTS and drawn < 0.10:
        return "reconditioned"
    if component in DONOR_PARTS and drawn > 0.85:
        return "used_donor"
    return "new"


def _write_line(
    world: World, visit: Visit, drawn: Drawn, position: str | None, origin: str, kit: str | None = None, pieces: int = 1
) -> None:
    share = {"reconditioned": 0.55, "used_donor": 0.35, "customer_supplied": 0.0}.get(origin, 1.0)
    cost, price = round(drawn.unit_cost * share), round(drawn.unit_price * share)
    own = origin in ("customer_supplied", "used_donor")
    world.rows.add(
        "part_line",
        job=visit.job,
        part=drawn.part.number,
        movement="fitted",
        position=position,
        supplier=None if own else drawn.supplier,
        maker=None if origin == "used_donor" else drawn.maker,
        lot=None if own else drawn.lot,
        lot_basis=None if own else drawn.lot_basis,
        origin=origin,
        kit=kit,
        quantity=pieces * PIECE,
        unit_cost=cost,
        unit_price=price,
        core_deposit=round(drawn.unit_cost * 0.2) if origin == "reconditioned" else None,
        ordered=None if own else drawn.ordered,
        received=None if own else drawn.received,
    )
    if position is not None and not own:
        visit.suppliers[position] = drawn.supplier
    visit.part_cost += cost * pieces
    visit.part_price += price * pieces


def _wait_for(world: World, visit: Visit, drawn: Drawn) -> None:
    """Let the job stand until a part that was not on the shelf has come."""
    if drawn.received is None or drawn.received <= visit.closed - 2:
        return
    world.rows.add(
        "wait", job=visit.job, waiting_on="part", part=drawn.part.number, wait_from=visit.torn_down + 1,
        wait_to=drawn.received,
    )  # fmt: skip
    visit.closed = drawn.received + 2


def _kit_remainder(world: World, visit: Visit, kit: str | None, rng: np.random.Generator) -> None:
    """Write the kit's other contents: used, or left over."""
    if kit is None:
        return
    fitted = {i.position.name for i in visit.items if i.replaced}
    for line in world.book.kits[visit.unit.family.name]:
        if line.position is not None and line.position in fitted:
            continue
        drawn = world.supply.draw(line.part, line.pieces, visit.opened, visit.torn_down, rng)[0]
        left_over = line.position is not None or chance(rng, 0.1)
        _write_line(world, visit, drawn, line.position, "new", kit)
        if left_over:
            world.rows.by_record["part_line"][-1]["movement"] = "left_over"


def trend_share(trend: PartTrend, years: float) -> float:
    """Return the share of full rebuilds that take a part whose use trends."""
    return min(0.98, float(trend.share_at_start * trend.per_year**years))


def _oil_and_sundries(world: World, visit: Visit, rng: np.random.Generator) -> None:
    """Fit oil, the two parts whose use trends, now and then a sundry, and send a part back."""
    family, planted = visit.unit.family, world.scenario.planted
    litres = 2 if visit.kind in ("reseal", "setup_only") else 3
    for drawn in world.supply.draw(world.book.oil[family.name], litres, visit.opened, visit.torn_down, rng):
        _write_line(world, visit, drawn, None, "new", None, drawn.pieces)
    if visit.kind == "full_rebuild":
        for trend in (planted.part_up, planted.part_down):
            if chance(rng, trend_share(trend, years_since(visit.opened, world.start))):
                drawn = world.supply.draw(trend.part, 1, visit.opened, visit.torn_down, rng)[0]
                _write_line(world, visit, drawn, None, "new")
    for name in ("BOLT-SET", "BREATHER", "SWITCH"):
        if chance(rng, 0.12):
            number = f"{family_code(family.name)}-{name}"
            drawn = world.supply.draw(number, 1, visit.opened, visit.torn_down, rng)[0]
            _write_line(world, visit, drawn, None, "new")
    if chance(rng, 0.03) and visit.pieces:
        number = world.part_of(visit.unit, visit.pieces[0].position)
        drawn = world.supply.draw(number, 1, visit.opened, visit.torn_down, rng)[0]
        _write_line(world, visit, drawn, None, "new")
        world.rows.by_record["part_line"][-1]["movement"] = "returned"


def fit_shims(world: World, visit: Visit, rng: np.random.Generator) -> None:
    """Write the shims and sleeves that the setting took."""
    for location, size in visit.used_shims:
        number = world.book.for_shim[visit.unit.family.name, location, size]
        drawn = world.supply.draw(number, 1, visit.opened, visit.closed, rng)[0]
        _write_line(world, visit, drawn, None, "new")
        line = world.rows.by_record["part_line"][-1]
        line["ordered"] = line["received"] = None
