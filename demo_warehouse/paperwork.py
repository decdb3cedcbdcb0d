"""Write what a visit leaves on paper: hours, outside work, waits, quote, money, road test, invoice."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from demo_warehouse.days import DAYS_A_YEAR
from demo_warehouse.fit_parts import fit_shims
from demo_warehouse.road_test import write_road_tests
from demo_warehouse.rows import chance
from demo_warehouse.world import World

if TYPE_CHECKING:
    from demo_warehouse.visit import Visit

QUARTER_HOUR = 15
# kind of job -> hours by operation
OPERATIONS: dict[str, dict[str, float]] = {
    "full_rebuild": {"strip": 2.2, "clean and inspect": 1.8, "assemble": 5.2, "test": 0.8},
    "part_rebuild": {"strip": 1.6, "clean and inspect": 1.0, "assemble": 2.6, "test": 0.6},
    "setup_only": {"strip": 1.2, "assemble": 1.6, "test": 0.5},
    "reseal": {"strip": 0.6, "assemble": 1.2, "test": 0.3},
    "inspection": {"strip": 1.2, "clean and inspect": 0.8},
}
FAMILY_HOURS = {"K6 heavy": 1.4, "A9 site": 1.35, "T6 lowline": 1.25, "T5 compact": 1.15}
BILLED_PER_TRIAL = 0.75


def write_paperwork(world: World, visit: Visit, rng: np.random.Generator) -> None:
    """Write every line of paper and close the visit."""
    fit_shims(world, visit, rng)
    outside = _outside_work(world, visit, rng)
    _other_waits(world, visit, rng)
    worked, billed = _labour(world, visit, rng)
    visit.row["closed"] = visit.closed
    visit.delivered = visit.closed + int(rng.integers(0, 5))
    visit.row["delivered"] = visit.delivered
    _promise(world, visit, rng)
    _invoice(world, visit, worked, billed, outside, rng)
    if visit.kind != "inspection":
        write_road_tests(world, visit, rng)
    visit.row["case_replaced"] = visit.case_replaced
    visit.row["scope"] = visit.kind.replace("_", " ")
    visit.row["declined"] = ";".join(visit.declined) or None


def _minutes(hours: float) -> int:
    return max(QUARTER_HOUR, round(hours * 60 / QUARTER_HOUR) * QUARTER_HOUR)


def _labour(world: World, visit: Visit, rng: np.random.Generator) -> tuple[int, int]:
    """Write hours by operation; return minutes worked and billed."""
    factor = FAMILY_HOURS.get(visit.unit.family.name, 1.0)
    hours = {name: (h * factor, h * factor) for name, h in OPERATIONS[visit.kind].items()}
    if visit.trials:
        hours["set up"] = (0.8 * visit.trials * factor, BILLED_PER_TRIAL * min(visit.trials, 4) * factor)
    if visit.refitted_by_us and visit.kind != "inspection":
        hours["remove and refit in the vehicle"] = (4.0 * factor, 4.0 * factor)
    totals = [0, 0]
    days = max(1, visit.closed - visit.torn_down)
    for number, (operation, (work, bill)) in enumerate(hours.items()):
        worked, billed = _minutes(work * rng.lognormal(0.02, 0.18)), _minutes(bill)
        helper = chance(rng, 0.12)
        doer = world.technician(visit.closed, rng, visit.technician).code if helper else visit.technician
        day = visit.torn_down + min(days, round(days * number / max(1, len(hours) - 1)))
        place = "vehicle" if "vehicle" in operation else "bench"
        billed = 0 if visit.free_of_charge else billed
        world.rows.add(
            "labour", job=visit.job, operation=operation, technician=doer, worked=worked, billed=billed, place=place,
            worked_on=day,
        )  # fmt: skip
        totals[0] += worked
        totals[1] += billed
    return totals[0], totals[1]


def _outside_work(world: World, visit: Visit, rng: np.random.Generator) -> int:
    """Send work out now and then; return its price in cents."""
    reworked = [i for i in visit.items if i.action == "reworked"]
    sent: list[tuple[str, str, float]] = [("grinding", "Thornleigh Grinding", 95.0) for i in reworked[:1]]
    if visit.kind == "full_rebuild" and chance(rng, 0.18):
        sent.append(("ultrasonic cleaning", "Wexcombe Cleaning", 38.0))
    if visit.kind == "full_rebuild" and chance(rng, 0.03):
        sent.append(("plating", "Larkfield Platers", 120.0))
    price = 0
    for process, contractor, money in sent:
        cost = round(100 * money * rng.lognormal(0, 0.2))
        first = visit.torn_down + 1
        back = first + 2 + int(rng.integers(0, 9))
        world.rows.add(
            "outside_work", job=visit.job, process=process, contractor=contractor, cost=cost, price=round(cost * 1.2),
            sent=first, back=back,
        )  # fmt: skip
        price += round(cost * 1.2)
        visit.part_cost += cost
        if back >= visit.closed:
            world.rows.add("wait", job=visit.job, waiting_on="machine_shop", wait_from=first, wait_to=back)
            visit.closed = back + 1
    return price


def _other_waits(world: World, visit: Visit, rng: np.random.Generator) -> None:
    for reason, share in (("customer", 0.12), ("bench", 0.14)):
        if chance(rng, share):
            days = 1 + int(rng.integers(0, 8))
            world.rows.add(
                "wait", job=visit.job, waiting_on=reason, wait_from=visit.torn_down, wait_to=visit.torn_down + days
            )
            visit.closed += days


def _promise(world: World, visit: Visit, rng: np.random.Generator) -> None:
    """Write the warranty that goes with the job."""
    if visit.kind == "inspection":
        visit.row |= {"warranty_months": 0, "warranty_distance": 0}
        return
    shop = world.scenario.workshop
    shares = np.cumsum(shop.warranty_months_share)
    months = shop.warranty_months[int(np.searchsorted(shares, rng.random() * shares[-1]))]
    visit.row |= {"warranty_months": months, "warranty_distance": round(months * shop.warranty_km_per_month * 1000)}


def _invoice(world: World, visit: Visit, worked: int, billed: int, outside: int, rng: np.random.Generator) -> None:
    """Price the job from hours, parts and outside work, or below cost where that is planted."""
    shop, below = world.scenario.workshop, world.scenario.planted.below_cost
    rate = shop.labour_rate * 1.02 ** ((visit.opened - world.start) / DAYS_A_YEAR)
    cost = visit.part_cost + round(worked / 60 * shop.labour_cost * 100)
    price = round(billed / 60 * rate * 100) + visit.part_price + outside
    if visit.kind == below.job_kind:
        price = round(cost * below.price_to_cost * rng.lognormal(0, 0.03))
    if visit.free_of_charge:
        price = 0
    price = round(price / 100) * 100
    if visit.kind == below.job_kind and not visit.free_of_charge:
        world.realised.below_cost.append({"job": visit.job, "cost": cost / 100, "price": price / 100})
    visit.row["invoiced"] = price
    if visit.reason not in ("comeback", "core"):
        visit.row["quoted"] = round(price * rng.lognormal(-0.01, 0.06) / 1000) * 1000
        _accepted_quote(world, visit, rng)
        _money_lines(world, visit, price, rng)


def _accepted_quote(world: World, visit: Visit, rng: np.random.Generator) -> None:
    quoted_on = visit.opened - int(rng.integers(0, 10))
    world.rows.add(
        "quote", quoted_on=quoted_on, unit=visit.unit.tag, family=visit.unit.family.name, job=visit.job,
        scope=visit.kind, price=visit.row["quoted"], strip_fee=19_000, answer="accepted",
        answered_on=quoted_on + int(rng.integers(0, visit.opened - quoted_on + 1)), entered=quoted_on,
    )  # fmt: skip


def _money_lines(world: World, visit: Visit, price: int, rng: np.random.Generator) -> None:
    """Write deposits, fleet discounts and the odd credit note."""
    private = visit.vehicle is not None and visit.vehicle.fleet is None
    if private and price > 100_000 and chance(rng, 0.35):
        world.rows.add(
            "money_line",
            job=visit.job,
            money_kind="deposit",
            amount=round(price * 0.3 / 1000) * 1000,
            booked_on=visit.opened,
        )
    if not private and visit.vehicle is not None and chance(rng, 0.5):
        amount = -round(price * 0.05)
        world.rows.add("money_line", job=visit.job, money_kind="discount", amount=amount, booked_on=visit.closed)
    if chance(rng, 0.015):
        amount = -round(price * 0.08)
        day = visit.closed + 12
        world.rows.add("money_line", job=visit.job, money_kind="credit_note", amount=amount, booked_on=day)
