"""Find what a reading is set to: from the specification, by what its target rests on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import polars as pl

from analytics.history import History

_LIMITS = """
select family, location, quantity, coalesce(gear_set_condition, 'any') as gear_set,
  coalesce(bearing_condition, 'any') as bearing, basis, constant, lower, upper
from known_specification order by all
"""


@dataclass(frozen=True)
class Target:
    """Hold what is aimed at and the limits (um or mN.m); `rests_on` says in words where the target comes from."""

    target: float
    lower: float | None
    upper: float | None
    rests_on: str


@dataclass(frozen=True)
class NoTarget:
    """Say in one sentence why nothing can be aimed at."""

    reason: str


@dataclass(frozen=True)
class Setting:
    """Hold what a target may rest on: gear set kept or changed, bearing new or used, markings and the reading found.

    Lengths in um, torques in mN.m; None where not known.
    """

    gear_set: str
    bearing: str
    marking: float | None = None
    marked_backlash: float | None = None
    found_reading: float | None = None


def specifications(history: History) -> pl.DataFrame:
    """Return the limits on record: family, location, quantity, gear_set, bearing, basis, constant, lower, upper."""
    return history.query(_LIMITS)


def target_for(limits: pl.DataFrame, family: str, location: str, quantity: str, setting: Setting) -> Target | NoTarget:
    """Return what one place is set to, from the specification that fits gear set and bearing most closely.

    A used gear set goes back to what it read before the strip; the marking is for a new one. Where a used set was not
    read before the strip, the marking stands in, and the words say so.
    """
    fits = limits.filter(
        (pl.col("family") == family) & (pl.col("quantity") == quantity)
        & (pl.col("location").is_null() | (pl.col("location") == location))
    )  # fmt: skip
    if fits.is_empty():
        return NoTarget(
            f"{family} has no specification for {quantity.replace('_', ' ')} {location}: take the maker's data and "
            "enter its limits among the specifications"
        )
    condition = "new" if setting.gear_set == "changed" else "used"
    ranked = fits.with_columns(
        _distance("gear_set", condition).alias("set_off"), _distance("bearing", setting.bearing).alias("bearing_off")
    ).sort("set_off", "bearing_off", "basis")
    reasons = []
    for row in ranked.filter((pl.col("set_off") < 9) & (pl.col("bearing_off") < 9)).iter_rows(named=True):
        found = _read(row, setting)
        if isinstance(found, Target):
            return found
        reasons.append(found.reason)
    if condition == "used" and "recorded_before_strip" in fits["basis"].to_list():
        for row in ranked.filter(pl.col("gear_set") == "new").iter_rows(named=True):
            found = _read(row, setting)
            if isinstance(found, Target):
                return Target(
                    found.target, found.lower, found.upper,
                    f"{found.rests_on}, because this used set was not read before the strip",
                )  # fmt: skip
    return NoTarget(reasons[0] if reasons else f"no specification of {family} fits this gear set and bearing")


def _distance(column: str, wanted: str) -> pl.Expr:
    return pl.when(pl.col(column) == wanted).then(0).when(pl.col(column) == "any").then(1).otherwise(9)


def _read(row: dict[str, Any], setting: Setting) -> Target | NoTarget:
    lower, upper, constant, basis = row["lower"], row["upper"], row["constant"], row["basis"]
    name = row["quantity"].replace("_", " ")
    if basis == "constant":
        if constant is None and (lower is None or upper is None):
            return NoTarget(f"the specification for {name} has neither a target nor two limits")
        target = (lower + upper) / 2 if constant is None else constant
        return Target(target, lower, upper, "the family's own figure")
    if basis == "constant_plus_marked_deviation":
        if setting.marking is None:
            return NoTarget(f"{name} of a new set is its constant plus the marking: give marked-depth-mm or set-number")
        base, words = (constant or 0) + setting.marking, "the constant plus the marking of the gear set"
    elif basis == "marked_on_part":
        if setting.marked_backlash is None:
            return NoTarget(f"{name} is marked on the gear set: give its set-number, or the reading before the strip")
        base, words = setting.marked_backlash, "the figure marked on the gear set"
    else:
        if setting.found_reading is None:
            return NoTarget(
                f"{name} of a used set goes back to its reading before the strip, which is not on record: give "
                "as-found-reading-mm"
            )
        base, words = setting.found_reading, "the reading before the strip"
    return Target(base, None if lower is None else base + lower, None if upper is None else base + upper, words)
