"""Decide what is inspected, how it is graded and what is done with it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from demo_warehouse.catalogue import Family
from demo_warehouse.positions import Position
from demo_warehouse.rows import chance

FAILED_GRADE = 3
# Component -> share replaced as routine in a full rebuild while younger, share once older, and the km between the two.
# The choice follows the part's distance and never its condition, so that what it cuts short is cut short at random.
ROUTINE: dict[str, tuple[float, float, float]] = {
    "synchroniser_ring": (0.30, 0.95, 130_000),
    "bearing": (0.45, 0.90, 180_000),
    "needle_bearing": (0.25, 0.70, 200_000),
    "thrust_washer": (0.20, 0.60, 200_000),
    "chain": (0.20, 0.90, 120_000),
    "fork": (0.05, 0.35, 250_000),
    "engagement_teeth": (0.02, 0.15, 300_000),
    "crown_wheel_pinion": (0.12, 0.55, 200_000),
    "differential_gears": (0.03, 0.15, 300_000),
    "detent": (0.05, 0.30, 300_000),
    "hub": (0.03, 0.20, 300_000),
    "gear": (0.02, 0.10, 350_000),
    "seal": (1.0, 1.0, 0),
}
REWORKABLE = frozenset({"shaft", "casing", "fork", "detent", "hub"})
SETTING_POSITIONS = frozenset(
    {
        "crown wheel and pinion", "pinion head bearing", "pinion tail bearing", "left side bearing",
        "right side bearing", "differential gears",
    }
)  # fmt: skip


@dataclass
class Inspected:
    """Hold one inspected position and what was done with it."""

    index: int
    position: Position
    ratio: float
    kilometres: float  # how far this part has run
    grade: int
    role: str
    action: str = "reused"
    damage_mode: str | None = None

    @property
    def failed(self) -> bool:
        """Return whether its grade counts as failed."""
        return self.grade >= FAILED_GRADE

    @property
    def replaced(self) -> bool:
        """Return whether another part went in."""
        return self.action.startswith("replaced")


def suspected(family: Family, kind: str, causes: list[int], rng: np.random.Generator) -> list[int]:
    """Return the positions inspected on a job of this kind, given what was complained of."""
    everything = range(len(family.positions))
    if kind == "full_rebuild":
        return list(everything)
    if kind == "setup_only":
        return [i for i in everything if family.positions[i].name in SETTING_POSITIONS]
    chosen = set(causes)
    for cause in causes:
        chosen |= _group(family, cause)
    if kind == "reseal":
        chosen |= {i for i in everything if family.positions[i].component in ("seal", "casing")}
    elif kind == "part_rebuild":
        chosen |= {i for i in everything if family.positions[i].component == "seal" and rng.random() < 0.5}
    return sorted(chosen)


def _group(family: Family, cause: int) -> set[int]:
    """Return the positions that one looks at together with a suspected one."""
    suspect = family.positions[cause]
    changing = {"synchroniser_ring", "slider", "fork", "engagement_teeth", "hub", "detent"}
    turning = {"bearing", "gear", "needle_bearing", "shaft", "thrust_washer"}
    drive = {"crown_wheel_pinion", "differential_gears"}
    for group in (changing, turning, drive):
        if suspect.component in group:
            near = {i for i, p in enumerate(family.positions) if p.component in group}
            if group is changing and suspect.gear:
                pair = (
                    {suspect.gear, str(int(suspect.gear) + 1), str(int(suspect.gear) - 1)}
                    if suspect.gear != "R"
                    else set()
                )
                near = {i for i in near if family.positions[i].gear in pair}
            if group is drive:
                near |= {i for i, p in enumerate(family.positions) if p.name in SETTING_POSITIONS}
            return near
    return {cause}


def grade_of(ratio: float, rng: np.random.Generator) -> int:
    """Return the condition grade from age over life; at one and above it counts as failed."""
    if ratio >= 1.0:
        return 4 if ratio > 1.25 or rng.random() < 0.2 else 3
    return 2 if ratio >= 0.70 else 1 if ratio >= 0.35 else 0


def decide_actions(
    items: list[Inspected], kind: str, reuse_sliders: bool, may_decline: bool, rng: np.random.Generator
) -> list[str]:
    """Set each item's action; return the names of positions whose work the customer declined."""
    if kind == "inspection":
        return []
    declined = []
    for item in items:
        if item.failed:
            item.action = "replaced_failed"
            if item.position.component in REWORKABLE and chance(rng, 0.4):
                item.action = "reworked"
            elif may_decline and item.role != "cause" and chance(rng, 0.35):
                item.action = "left_worn"
                declined.append(item.position.name)
        elif kind == "setup_only":
            drive = item.position.component == "crown_wheel_pinion"
            item.action = "replaced_routine" if drive and chance(rng, 0.6) else "adjusted" if drive else "reused"
        else:
            item.action = _routine(item, kind, rng)
    if kind in ("full_rebuild", "part_rebuild"):
        _mates(items, reuse_sliders)
    return declined


def _routine(item: Inspected, kind: str, rng: np.random.Generator) -> str:
    component = item.position.component
    younger, older, kilometres = ROUTINE.get(component, (0.0, 0.0, 0.0))
    share = older if item.kilometres >= kilometres else younger
    if kind == "part_rebuild":
        share *= 0.6 if component == "seal" else 0.4
    elif kind == "reseal":
        share = 0.8 if component == "seal" else 0.0
    if component == "slider":
        return "reused"
    if chance(rng, share):
        return "replaced_routine"
    if item.grade in (1, 2) and component in ("detent", "thrust_washer") and chance(rng, 0.4):
        return "adjusted"
    return "reused"


def _mates(items: list[Inspected], reuse_sliders: bool) -> None:
    """Replace sliders with their rings unless the practice is to reuse them; pinion bearings go in pairs."""
    by_name = {item.position.name: item for item in items}
    ringed = {i.position.mate for i in items if i.position.component == "synchroniser_ring" and i.replaced}
    for item in items:
        if item.action != "reused":
            continue
        if item.position.component == "slider" and item.position.name in ringed and not reuse_sliders:
            item.action = "replaced_mate"
        elif item.position.name.startswith("pinion") and item.position.component == "bearing":
            mate = by_name.get(item.position.mate or "")
            if mate is not None and mate.replaced and mate.action != "replaced_mate":
                item.action = "replaced_mate"


def sliders_reused_with_new_rings(items: list[Inspected]) -> bool:
    """Return whether a slider stayed while a ring that runs on it was replaced."""
    ringed = {i.position.mate for i in items if i.position.component == "synchroniser_ring" and i.replaced}
    return any(i.position.component == "slider" and i.position.name in ringed and not i.replaced for i in items)
