"""Describe the invented unit families: component positions, shim locations and limits."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from demo_warehouse.positions import Position, positions_of

FAMILIES_FILE = Path(__file__).with_name("families.toml")


@dataclass(frozen=True)
class GearSetKind:
    """Describe the crown wheels and pinions of a family; angles in thousandths of a degree."""

    tooth_form: str
    wheel_teeth: int
    pinion_teeth: tuple[int, ...]
    pressure_mdeg: int
    spiral_mdeg: int
    sign_rule: str
    marked_backlash: bool

    def pitch_mdeg(self, pinion_teeth: int) -> int:
        """Return the wheel's pitch angle for shafts at a right angle."""
        return round(1000 * math.degrees(math.atan(self.wheel_teeth / pinion_teeth)))

    def backlash_per_shift(self, pinion_teeth: int) -> float:
        """Return how far circumferential backlash moves when the wheel moves axially by one.

        2 sin(pitch angle) tan(pressure angle) / cos(spiral angle), equal flank angles (derivation).
        """
        pitch = math.radians(self.pitch_mdeg(pinion_teeth) / 1000)
        pressure, spiral = math.radians(self.pressure_mdeg / 1000), math.radians(self.spiral_mdeg / 1000)
        return 2 * math.sin(pitch) * math.tan(pressure) / math.cos(spiral)


@dataclass(frozen=True)
class Location:
    """Describe one shim location; lengths in micrometres, torques in millinewton metres."""

    name: str
    sits: str
    quantity: str
    thicker_moves: str
    bearing: str
    thinnest: int | None
    thickest: int | None
    step: int | None
    stackable: bool | None
    side: str | None
    pieces: tuple[int, ...]
    limits: Mapping[str, tuple[int, int, int]]  # bearing condition -> target, lower, upper

    @property
    def sign(self) -> int:
        """Return +1 where thicker raises the reading and -1 where it lowers it."""
        return 1 if self.thicker_moves == "increases" else -1

    @property
    def takes_shims(self) -> bool:
        """Return whether thicknesses are chosen here (not a sleeve that crushes, not a thread)."""
        return self.thinnest is not None

    def piece_sizes(self) -> tuple[int, ...]:
        """Return the thicknesses sold for this location."""
        if self.thinnest is None or self.thickest is None or self.step is None:
            return ()
        if self.pieces:
            return self.pieces
        if self.stackable:
            return (100, 120, 140, 160, 200, 300, 500) if self.step == 20 else (100, 150, 200, 250, 300, 500, 1000)
        return tuple(range(self.thinnest, self.thickest + 1, self.step))


@dataclass(frozen=True)
class Family:
    """Describe one unit family."""

    name: str
    kind: str
    description: str
    speeds: int | None
    length_unit: str
    base_price: int
    positions: tuple[Position, ...]
    locations: tuple[Location, ...]
    gear_set: GearSetKind | None

    def location_for(self, quantity: str) -> Location | None:
        """Return the first location that sets `quantity`, or None."""
        return next((place for place in self.locations if place.quantity == quantity), None)

    @property
    def gears(self) -> tuple[str, ...]:
        """Return the names of the forward gears."""
        return tuple(str(n) for n in range(1, (self.speeds or 0) + 1))


def _location(table: Mapping[str, Any]) -> Location:
    if "new_target" in table:
        limits = {c: tuple(table[f"{c}_{part}"] for part in ("target", "lower", "upper")) for c in ("new", "used")}
    else:
        limits = {"any": (table["target"], table["lower"], table["upper"])}
    return Location(
        name=table["location"],
        sits=table["sits"],
        quantity=table["quantity"],
        thicker_moves=table["thicker_moves"],
        bearing=table["bearing"],
        thinnest=table.get("thinnest"),
        thickest=table.get("thickest"),
        step=table.get("step"),
        stackable=table.get("stackable"),
        side=table.get("side"),
        pieces=tuple(table.get("pieces", ())),
        limits=limits,
    )


def _family(table: Mapping[str, Any]) -> Family:
    gear_set = table.get("gear_set")
    return Family(
        name=table["name"],
        kind=table["kind"],
        description=table["description"],
        speeds=table.get("speeds"),
        length_unit=table["length_unit"],
        base_price=table["base_price"],
        positions=positions_of(table["layout"], table.get("speeds"), tuple(table.get("rings", ()))),
        locations=tuple(_location(place) for place in table["location"]),
        gear_set=None
        if gear_set is None
        else GearSetKind(
            tooth_form=gear_set["tooth_form"],
            wheel_teeth=gear_set["wheel_teeth"],
            pinion_teeth=tuple(gear_set["pinion_teeth"]),
            pressure_mdeg=gear_set["pressure_mdeg"],
            spiral_mdeg=gear_set["spiral_mdeg"],
            sign_rule=gear_set["sign_rule"],
            marked_backlash=gear_set.get("marked_backlash", False),
        ),
    )


def read_families(path: Path = FAMILIES_FILE) -> dict[str, Family]:
    """Return the families of a catalogue file by name, in the file's order."""
    tables = tomllib.loads(path.read_text(encoding="utf-8"))["family"]
    return {table["name"]: _family(table) for table in tables}
