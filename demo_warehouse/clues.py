"""Turn what is worn into what the customer complains of and what the drained oil shows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from demo_warehouse.positions import Position
from demo_warehouse.rows import chance, pick

# component -> how likely each complaint is
COMPLAINTS: dict[str, dict[str, float]] = {
    "synchroniser_ring": {"crunch": 0.78, "baulks": 0.17, "jumps_out": 0.05},
    "slider": {"jumps_out": 0.55, "crunch": 0.35, "baulks": 0.10},
    "hub": {"baulks": 0.55, "crunch": 0.30, "clunk": 0.15},
    "engagement_teeth": {"jumps_out": 0.65, "crunch": 0.35},
    "gear": {"whine": 0.80, "vibration": 0.12, "locked": 0.08},
    "shaft": {"vibration": 0.45, "locked": 0.35, "clunk": 0.20},
    "bearing": {"rumble": 0.72, "whine": 0.22, "locked": 0.06},
    "needle_bearing": {"rumble": 0.65, "whine": 0.35},
    "fork": {"jumps_out": 0.55, "baulks": 0.45},
    "detent": {"jumps_out": 0.60, "baulks": 0.40},
    "crown_wheel_pinion": {"whine": 0.82, "clunk": 0.13, "locked": 0.05},
    "differential_gears": {"clunk": 0.70, "rumble": 0.20, "locked": 0.10},
    "seal": {"leak": 1.0},
    "chain": {"clunk": 0.50, "vibration": 0.30, "locked": 0.20},
    "casing": {"leak": 0.75, "rumble": 0.25},
    "thrust_washer": {"clunk": 0.75, "rumble": 0.25},
}
DAMAGE: dict[str, dict[str, float]] = {
    "synchroniser_ring": {"ring_wear": 0.85, "lining_loss": 0.15},
    "slider": {"slider_wear": 0.8, "rounded_teeth": 0.2},
    "hub": {"slider_wear": 0.6, "play": 0.4},
    "engagement_teeth": {"rounded_teeth": 0.8, "chipped_teeth": 0.2},
    "gear": {"macropitting": 0.5, "micropitting": 0.2, "tooth_fracture": 0.15, "scuffing": 0.15},
    "shaft": {"abrasive_wear": 0.6, "crack": 0.25, "fretting": 0.15},
    "bearing": {
        "spalling": 0.45, "surface_fatigue": 0.2, "brinelling": 0.12, "abrasive_wear": 0.1, "cage_fracture": 0.05,
        "moisture_corrosion": 0.05, "false_brinelling": 0.03,
    },
    "needle_bearing": {"spalling": 0.6, "surface_fatigue": 0.25, "false_brinelling": 0.15},
    "fork": {"fork_wear": 0.8, "fork_bent": 0.2},
    "detent": {"play": 1.0},
    "crown_wheel_pinion": {"macropitting": 0.45, "scuffing": 0.35, "tooth_fracture": 0.1, "overheated": 0.1},
    "differential_gears": {"scuffing": 0.5, "play": 0.3, "tooth_fracture": 0.2},
    "seal": {"seal_leak": 1.0},
    "chain": {"chain_stretch": 0.95, "crack": 0.05},
    "casing": {"crack": 0.6, "fretting": 0.4},
    "thrust_washer": {"play": 0.6, "abrasive_wear": 0.4},
}  # fmt: skip
STEEL_SHEDDERS = frozenset(
    {
        "bearing",
        "gear",
        "engagement_teeth",
        "crown_wheel_pinion",
        "needle_bearing",
        "shaft",
        "slider",
        "differential_gears",
    }
)
TRACES = ("none", "trace", "marked", "heavy")


@dataclass(frozen=True)
class Complaint:
    """Hold one complaint as it is written on the job."""

    complaint: str
    when_heard: str | None
    gear: str | None
    shift_direction: str | None
    place: str | None


def complaint_of(position: Position, rng: np.random.Generator) -> Complaint:
    """Return what a worn position makes the customer say."""
    word = pick(rng, COMPLAINTS[position.component])
    gear = direction = place = None
    if word in ("crunch", "baulks", "jumps_out"):
        gear = position.gear if chance(rng, 0.85) else None
        if word != "jumps_out":
            direction = pick(rng, {"up": 0.25, "down": 0.55, "both": 0.20})
    if word == "leak":
        place = position.name.replace(" seal", "") if chance(rng, 0.8) else None
    return Complaint(word, _when(position, word, rng), gear, direction, place)


def _when(position: Position, word: str, rng: np.random.Generator) -> str | None:
    if chance(rng, 0.12):
        return None
    if word == "whine":
        if position.component == "crown_wheel_pinion":
            return pick(rng, {"drive": 0.55, "coast": 0.25, "float": 0.20})
        if position.name.startswith("pinion"):
            return pick(rng, {"drive": 0.25, "coast": 0.55, "float": 0.20})
        return pick(rng, {"always": 0.5, "drive": 0.3, "coast": 0.2})
    if word == "rumble":
        turning = "side" in position.name or "wheel" in position.name or "differential" in position.name
        return pick(rng, {"turns": 0.7, "always": 0.3} if turning else {"always": 0.75, "turns": 0.05, "hot": 0.20})
    if word == "clunk":
        return pick(rng, {"take_up": 0.85, "always": 0.15})
    if word in ("crunch", "baulks"):
        return pick(rng, {"cold": 0.35, "always": 0.45, "hot": 0.20})
    return pick(rng, {"always": 0.6, "hot": 0.2, "drive": 0.2})


def damage_of(position: Position, rng: np.random.Generator) -> str:
    """Return how a worn position is damaged."""
    mode = pick(rng, DAMAGE[position.component])
    return "lining_loss" if mode == "ring_wear" and position.material in ("carbon", "molybdenum") else mode


def oil_of(worn: list[Position], changed: bool, rng: np.random.Generator) -> tuple[str, str]:
    """Return how much brass and how much steel the oil shows; a recent change hides some of it."""
    brass = any(p.component == "synchroniser_ring" and p.material == "brass" for p in worn)
    steel = any(p.component in STEEL_SHEDDERS for p in worn)
    return _trace(brass, changed, rng), _trace(steel, changed, rng)


def _trace(shed: bool, changed: bool, rng: np.random.Generator) -> str:
    shares = (0.10, 0.25, 0.42, 0.23) if shed else (0.70, 0.25, 0.04, 0.01)
    level = int(pick(rng, {str(n): s for n, s in enumerate(shares)}))
    return TRACES[max(0, level - 1) if changed else level]
