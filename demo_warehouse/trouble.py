"""Draw the trouble that a delivered job may bring: competing hazards on months since delivery."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from demo_warehouse.days import DAYS_A_MONTH
from demo_warehouse.scenario import Scenario

WINDOW_MONTHS = 24.0


@dataclass(frozen=True)
class Threat:
    """Hold one hazard of a job: what it would turn out to be, cumulative hazard at 24 months, and shape."""

    outcome: str
    hazard: float
    shape: float
    position: str | None = None

    def cumulative(self, months: float) -> float:
        """Return the cumulative hazard at some months since delivery."""
        return float(self.hazard * (months / WINDOW_MONTHS) ** self.shape)


@dataclass(frozen=True)
class Trouble:
    """Hold the trouble that comes first."""

    day: int
    outcome: str
    position: str | None


@dataclass(frozen=True)
class FittedPiece:
    """Hold one new part fitted at a position and whether it came from the bad lot."""

    position: str
    component: str
    bad: bool


def share_with_odds(share: float, odds_ratio: float) -> float:
    """Return the share whose odds are `odds_ratio` times those of `share`."""
    odds = share / (1 - share) * odds_ratio
    return odds / (1 + odds)


def threats_of(
    scenario: Scenario,
    pieces: list[FittedPiece],
    sliders_reused: bool,
    depth_error: float,
    refitted_by_us: bool,
    duty: str,
) -> list[Threat]:
    """Return every hazard that a delivered job carries, with the planted multipliers in place."""
    planted, comebacks = scenario.planted, scenario.comebacks
    ours = planted.slider_reused.hazard_ratio if sliders_reused else 1.0
    threats = []
    for outcome, hazard in comebacks.outcome.items():
        total = -math.log1p(-hazard.share)
        if outcome == "our_work":
            total *= ours * (1 + (depth_error / scenario.setting.depth_error_hazard_um) ** 2)
        if outcome == "fitter" and refitted_by_us:
            total = 0.0
        if outcome == "abuse":
            total *= 3.0 if duty in ("off_road", "competition") else 0.7
        threats.append(Threat(outcome, total, hazard.shape))
    shape = comebacks.part["shape"]
    for piece in pieces:
        share = comebacks.part.get(piece.component, comebacks.part["other"])
        if piece.bad:
            share = share_with_odds(share, planted.bad_lot.odds_ratio)
        threats.append(Threat("part", -math.log1p(-share) * ours, shape, piece.position))
    return threats


def first_trouble(threats: list[Threat], delivered: int, rng: np.random.Generator) -> Trouble:
    """Return the trouble whose day comes first."""
    best: Trouble | None = None
    for threat in threats:
        drawn = rng.exponential(1.0)
        if threat.hazard <= 0:
            continue
        months = WINDOW_MONTHS * (drawn / threat.hazard) ** (1 / threat.shape)
        day = delivered + 1 + int(min(months, 10_000) * DAYS_A_MONTH)
        if best is None or day < best.day:
            best = Trouble(day, threat.outcome, threat.position)
    if best is None:
        return Trouble(10**9, "no_fault_found", None)
    return best


def chance_within(threats: list[Threat], months: float, outcomes: frozenset[str] | None = None) -> float:
    """Return the chance of trouble within some months, of all outcomes or as if others could not happen."""
    chosen = [t for t in threats if outcomes is None or t.outcome in outcomes]
    return 1 - math.exp(-sum(t.cumulative(months) for t in chosen))
