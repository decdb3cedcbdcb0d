"""Play what comes back: reported, opened or settled, written down or left out, and who paid."""

from __future__ import annotations

import numpy as np

from demo_warehouse.days import date_of
from demo_warehouse.rows import chance, pick
from demo_warehouse.trouble import Trouble
from demo_warehouse.vehicles import Vehicle
from demo_warehouse.visit import Visit
from demo_warehouse.world import World

ALWAYS_OPENED = {"our_work": 0.92, "part": 0.97, "abuse": 0.8}
SOMETIMES_OPENED = {"fitter": 1.0, "no_fault_found": 0.45, "outside_unit": 0.15}  # of the scenario's opened_share
PAYER_IN_WARRANTY: dict[str, dict[str, float]] = {
    "our_work": {"us": 0.93, "goodwill": 0.07},
    "part": {"us": 0.45, "supplier": 0.55},
    "fitter": {"customer": 0.6, "goodwill": 0.4},
    "outside_unit": {"customer": 0.75, "goodwill": 0.25},
    "abuse": {"customer": 0.95, "goodwill": 0.05},
    "no_fault_found": {"us": 0.35, "goodwill": 0.4, "customer": 0.25},
}
PAYER_AFTERWARDS: dict[str, float] = {"customer": 0.72, "goodwill": 0.22, "us": 0.06}


def is_opened(world: World, outcome: str, rng: np.random.Generator) -> bool:
    """Return whether a comeback is settled by opening the unit."""
    share = ALWAYS_OPENED.get(outcome)
    if share is None:
        share = SOMETIMES_OPENED[outcome] * world.scenario.comebacks.opened_share
    return chance(rng, share)


def payer_of(outcome: str, in_warranty: bool, rng: np.random.Generator) -> str:
    """Return who pays for a comeback."""
    return pick(rng, PAYER_IN_WARRANTY[outcome] if in_warranty else PAYER_AFTERWARDS)


def trouble_position(visit: Visit, trouble: Trouble, rng: np.random.Generator) -> str | None:
    """Return the position at fault: the part that failed, or what our work left wrong."""
    if trouble.position is not None:
        return trouble.position
    names = [p.name for p in visit.unit.family.positions]
    if trouble.outcome == "our_work":
        if "crown wheel and pinion" in names and (visit.trials or chance(rng, 0.3)):
            return "crown wheel and pinion"
        touched = sorted(visit.touched) or names
        return touched[int(rng.integers(0, len(touched)))]
    if trouble.outcome == "abuse":
        hit = [
            p.name
            for p in visit.unit.family.positions
            if p.component in ("engagement_teeth", "differential_gears", "gear")
        ]
        return hit[int(rng.integers(0, len(hit)))]
    return None


def write_comeback(
    world: World,
    original: Visit,
    opened: Visit | None,
    trouble: Trouble,
    reported: int,
    vehicle: Vehicle,
    payer: str,
    position: str | None,
    rng: np.random.Generator,
) -> None:
    """Write the comeback, or leave the link out on purpose where it became a job; note both in the truth."""
    given = opened is None or chance(rng, world.scenario.comebacks.given_share)
    settled = (opened.delivered if opened else None) or reported + 1 + int(rng.integers(0, 10))
    truth = {
        "original_job": original.job,
        "comeback_job": opened.job if opened else None,
        "reported": date_of(reported).isoformat(),
        "outcome": trouble.outcome,
        "payer": payer,
        "given": given,
    }
    world.realised.comebacks.append(truth)
    if not given:
        world.realised.hidden_links.append(
            {k: truth[k] for k in ("original_job", "comeback_job", "reported", "outcome")}
        )
        return
    mode = None
    cost = 0
    if opened is not None:
        mode = next((item.damage_mode for item in opened.items if item.position.name == position), None)
        cost = 0 if payer == "customer" else opened.part_cost + 4_100 * 5
    elif payer in ("us", "goodwill"):
        cost = round(rng.uniform(40, 160)) * 100
    world.rows.add(
        "comeback",
        original_job=original.job,
        comeback_job=opened.job if opened else None,
        reported=reported,
        settled=max(settled, reported),
        outcome=trouble.outcome,
        payer=payer,
        position=position,
        damage_mode=mode,
        odometer=round(vehicle.odometer(reported) / 1000) * 1000,
        cost=cost,
        entered=reported,
    )
    if opened is not None and payer == "supplier":
        world.rows.add(
            "money_line", job=opened.job, money_kind="supplier_credit", amount=round(cost * 0.6),
            booked_on=settled + 20,
            supplier=original.suppliers.get(position or ""),
            part=world.part_of(original.unit, position) if position else None,
        )  # fmt: skip
