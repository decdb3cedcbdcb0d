"""Write road tests and bench spins, gear by gear."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from demo_warehouse.rows import chance
from demo_warehouse.world import World

if TYPE_CHECKING:
    from demo_warehouse.visit import Visit


def write_road_tests(world: World, visit: Visit, rng: np.random.Generator) -> None:
    """Write a test before the work where the unit came in its vehicle, and one after it for most jobs."""
    if visit.row.get("arrival") == "in_vehicle" and visit.reason in ("wear", "comeback") and chance(rng, 0.6):
        _write(world, visit, before=True, rng=rng)
    if chance(rng, 0.75):
        _write(world, visit, before=False, rng=rng)


def _write(world: World, visit: Visit, before: bool, rng: np.random.Generator) -> None:
    family = visit.unit.family
    test = "drive" if before or (visit.refitted_by_us and chance(rng, 0.8)) else "bench_spin"
    day = visit.opened if before else visit.closed
    metres = round(rng.uniform(8, 40)) * 1000 if test == "drive" else None
    bad_gears = {i.position.gear for i in visit.items if i.failed and i.position.gear} if before else set()
    noisy = before and any(
        i.failed and i.position.component in ("bearing", "gear", "crown_wheel_pinion") for i in visit.items
    )
    leaks = before and any(i.failed and i.position.component == "seal" for i in visit.items)
    for gear in family.gears or (None,):
        changing = "bad" if gear in bad_gears else "stiff" if chance(rng, 0.02) else "good"
        running = "noisy" if noisy and chance(rng, 0.7) else "good"
        world.rows.add(
            "road_test",
            job=visit.job,
            test=test,
            tested_on=day,
            before_work=before,
            distance=metres,
            gear=gear,
            up=(changing if chance(rng, 0.7) else "good") if gear else None,
            down=changing if gear else None,
            on_drive=running,
            on_coast="good" if chance(rng, 0.5) else running,
            leaks=leaks,
            noise="hum that follows road speed" if running == "noisy" and chance(rng, 0.5) else None,
        )
