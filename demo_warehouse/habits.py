"""Choose packs as technicians do: what came out goes in again or what lies in the drawer, and careful half steps.

Common practice, no source: the pack that came out is the first try, unless its pieces are bent, mixed up or lost in
washing; and whoever does not trust a reading, or fears to overshoot, goes half of the way that it asks for.
"""

from __future__ import annotations

from demo_warehouse.bench import Bench
from demo_warehouse.catalogue import Location
from demo_warehouse.rows import chance


def goes_to_the_drawer(bench: Bench) -> bool:
    """Return whether the pieces that came out are not used again and the usual pack is taken from the drawer."""
    return chance(bench.rng, bench.scenario.setting.pack_from_drawer)


def usual_pack(place: Location) -> float:
    """Return the middle of the packs that sit at a location, in micrometres."""
    if place.thinnest is None or place.thickest is None:
        raise ValueError(f"no thickness is chosen at {place.name}")
    return (place.thinnest + place.thickest) / 2


def way_gone(bench: Bench, asked: float) -> float:
    """Return the change of pack that is made where a reading asks for one: all of it or half of it."""
    return asked / 2 if chance(bench.rng, bench.scenario.setting.half_way) else asked
