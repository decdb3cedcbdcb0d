"""List the invented part numbers, the nine suppliers, the makers in the box and the kits."""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass

from demo_warehouse.catalogue import Family, Location
from demo_warehouse.positions import Position

SUPPLIERS = (
    "Alder Parts",
    "Bramble Bearing House",
    "Cobble Synchro",
    "Dunlin Seal Store",
    "Elmtree Gearworks",
    "Fallow Driveline",
    "Gorse Trading",
    "Heronry Supply",
    "Juniper Wholesale",
)
MARKS_LOTS = frozenset(SUPPLIERS) - {"Gorse Trading", "Juniper Wholesale"}
BEARING_MAKERS = ("Tavrik", "Merrowin", "Zorbeth")

# component -> (code, base cost, first supplier, second supplier, makers, lead days, pieces per lot)
_KINDS: dict[str, tuple[str, float, str, str, tuple[str, ...], int, int]] = {
    "synchroniser_ring": ("RING", 28, "Cobble Synchro", "Alder Parts", ("Quillane", "Hesvik"), 9, 40),
    "slider": ("SLIDER", 74, "Cobble Synchro", "Elmtree Gearworks", ("Quillane", "Dorrim"), 12, 12),
    "hub": ("HUB", 88, "Cobble Synchro", "Elmtree Gearworks", ("Quillane",), 14, 6),
    "engagement_teeth": ("TEETH", 69, "Elmtree Gearworks", "Fallow Driveline", ("Dorrim", "Braskane"), 16, 8),
    "gear": ("GEAR", 142, "Elmtree Gearworks", "Fallow Driveline", ("Dorrim", "Braskane"), 18, 5),
    "shaft": ("SHAFT", 196, "Elmtree Gearworks", "Fallow Driveline", ("Dorrim",), 21, 3),
    "bearing": ("BRG", 38, "Bramble Bearing House", "Juniper Wholesale", BEARING_MAKERS, 4, 16),
    "needle_bearing": ("NEEDLE", 19, "Bramble Bearing House", "Juniper Wholesale", BEARING_MAKERS, 4, 20),
    "fork": ("FORK", 58, "Fallow Driveline", "Heronry Supply", ("Braskane",), 15, 6),
    "detent": ("DETENT", 14, "Alder Parts", "Heronry Supply", ("Ferrowyn",), 8, 10),
    "crown_wheel_pinion": ("CWP", 395, "Elmtree Gearworks", "Fallow Driveline", ("Dorrim", "Braskane"), 25, 3),
    "differential_gears": ("DIFF", 158, "Elmtree Gearworks", "Fallow Driveline", ("Dorrim",), 20, 4),
    "seal": ("SEAL", 9, "Dunlin Seal Store", "Alder Parts", ("Pelvane", "Ullett"), 3, 30),
    "chain": ("CHAIN", 168, "Fallow Driveline", "Heronry Supply", ("Braskane",), 14, 4),
    "casing": ("CASE", 410, "Heronry Supply", "Fallow Driveline", ("Ferrowyn",), 30, 1),
    "thrust_washer": ("WASHER", 11, "Alder Parts", "Gorse Trading", ("Ferrowyn",), 6, 20),
}
_FAMILY_COST = {"K6 heavy": 1.8, "A9 site": 1.9, "T6 lowline": 1.4, "X2": 1.2}


@dataclass(frozen=True)
class Part:
    """Describe one part number; `cost` is the first supplier's on the first day, in money."""

    number: str
    description: str
    component: str
    family: str | None
    suppliers: tuple[str, ...]
    makers: tuple[str, ...]
    cost: float
    lead_days: int
    lot_pieces: int
    location: str | None = None
    thickness: int | None = None


@dataclass(frozen=True)
class KitLine:
    """Describe one part of a kit."""

    kit: str
    part: str
    position: str | None
    pieces: int


@dataclass(frozen=True)
class PartsBook:
    """Hold every part number, what each position takes, and the kits of each family."""

    parts: Mapping[str, Part]
    for_position: Mapping[tuple[str, str], str]
    for_shim: Mapping[tuple[str, str, int], str]
    kits: Mapping[str, tuple[KitLine, ...]]  # by family: the seal and gasket kit
    oil: Mapping[str, str]


def family_code(name: str) -> str:
    """Return the short code of a family, the first word of its name."""
    return name.split()[0]


def _spread(text: str) -> float:
    """Return a fixed factor between 0.75 and 1.25 that belongs to a text."""
    return 0.75 + 0.5 * (zlib.crc32(text.encode()) % 1000) / 999


def _position_part(family: Family, position: Position) -> Part:
    code, cost, first, second, makers, lead, lot = _KINDS[position.component]
    short = family_code(family.name)
    small_ring = position.component == "synchroniser_ring" and position.material == "brass"
    if small_ring and short in ("K4", "K5"):
        return Part(
            "RING-SMALL", "brass ring, small", "synchroniser_ring", None, (first, second), makers, 24.5, lead, lot
        )
    if position.component == "synchroniser_ring":
        number = f"{short}-RING-{(position.material or 'STEEL')[:4].upper()}"
    elif position.component in ("slider", "seal", "bearing", "gear", "fork"):
        words = position.name.replace(" bearing", "").replace(" seal", "").replace(" slider", "").replace(" fork", "")
        number = f"{short}-{code}-{words.upper().replace(' ', '-')}"
    elif position.component == "engagement_teeth":
        number = f"{short}-TEETH-{position.gear}"
    else:
        number = f"{short}-{code}-{position.name.split()[0].upper()}"
    price = round(cost * _FAMILY_COST.get(family.name, 1.0) * _spread(number), 2)
    about = f"{position.name}, {family.name}"
    return Part(number, about, position.component, family.name, (first, second), makers, price, lead, lot)


def _shim_code(location: Location) -> str:
    return "".join(word[0] for word in location.name.split()).upper()


def _shim_parts(family: Family) -> list[tuple[tuple[str, str, int], Part]]:
    made = []
    short = family_code(family.name)
    for location in family.locations:
        for size in location.piece_sizes():
            number = f"{short}-{_shim_code(location)}-{size:04d}"
            part = Part(
                number,
                f"{location.sits.replace('_', ' ')} {size / 1000:.3f}, {family.name}",
                "shim",
                family.name,
                ("Gorse Trading", "Alder Parts"),
                ("Ferrowyn",),
                round(2.4 + size / 2000 + (3.0 if location.stackable is False else 0.0), 2),
                5,
                25,
                location.name,
                size,
            )
            made.append(((family.name, location.name, size), part))
        if location.sits == "crush_sleeve":
            number = f"{short}-CRUSH-SLEEVE"
            part = Part(
                number, "crush sleeve", "shim", family.name, ("Alder Parts",), ("Ferrowyn",), 7.2, 6, 15, location.name
            )
            made.append(((family.name, location.name, 0), part))
    return made


def _sundries(family: Family) -> list[Part]:
    short = family_code(family.name)
    names = (
        ("GASKET", 4.8),
        ("BOLT-SET", 6.5),
        ("CIRCLIP-SET", 5.6),
        ("SEALANT", 7.9),
        ("BREATHER", 3.9),
        ("SWITCH", 12.4),
    )
    return [
        Part(
            f"{short}-{name}", f"{name.lower().replace('-', ' ')}, {family.name}", "sundry", family.name,
            ("Gorse Trading", "Juniper Wholesale"), ("Ferrowyn",), round(cost * _spread(short + name), 2), 5, 30,
        )
        for name, cost in names
    ]  # fmt: skip


def _shared_parts() -> list[Part]:
    return [
        Part("MAGNETIC-PLUG", "magnetic drain plug", "sundry", None, ("Alder Parts",), ("Ferrowyn",), 8.4, 6, 40),
        Part("PAPER-GASKET-SET", "paper gasket set", "sundry", None, ("Gorse Trading",), ("Ferrowyn",), 11.2, 6, 40),
        Part("OIL-GEARBOX", "gearbox oil, litre", "oil", None, ("Juniper Wholesale",), ("Lumera",), 6.1, 2, 200),
        Part("OIL-HYPOID", "hypoid oil, litre", "oil", None, ("Juniper Wholesale",), ("Lumera",), 7.3, 2, 200),
    ]


def parts_book(families: Mapping[str, Family]) -> PartsBook:
    """Return the part numbers, kits and what each position and shim location takes."""
    parts = {part.number: part for part in _shared_parts()}
    for_position: dict[tuple[str, str], str] = {}
    for_shim: dict[tuple[str, str, int], str] = {}
    kits: dict[str, tuple[KitLine, ...]] = {}
    oil: dict[str, str] = {}
    for family in families.values():
        short = family_code(family.name)
        lines = []
        for position in family.positions:
            part = _position_part(family, position)
            parts.setdefault(part.number, part)
            for_position[family.name, position.name] = part.number
            if position.component == "seal":
                lines.append(KitLine(f"{short}-SEAL-KIT", part.number, position.name, 1))
        for key, part in _shim_parts(family):
            parts.setdefault(part.number, part)
            for_shim[key] = part.number
        for part in _sundries(family):
            parts[part.number] = part
        lines += [
            KitLine(f"{short}-SEAL-KIT", f"{short}-{name}", None, 1) for name in ("GASKET", "CIRCLIP-SET", "SEALANT")
        ]
        kits[family.name] = tuple(lines)
        kit = f"{short}-SEAL-KIT"
        worth = round(0.9 * sum(parts[line.part].cost for line in lines), 2)
        about = f"seal and gasket kit, {family.name}"
        parts[kit] = Part(
            kit, about, "sundry", family.name, ("Dunlin Seal Store", "Alder Parts"), ("Pelvane",), worth, 4, 20
        )
        oil[family.name] = "OIL-HYPOID" if family.gear_set else "OIL-GEARBOX"
    return PartsBook(parts, for_position, for_shim, kits, oil)
