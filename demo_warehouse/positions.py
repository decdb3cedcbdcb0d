"""Lay out the component positions of a gearbox, a transaxle, an axle drive and a transfer box."""

from __future__ import annotations

from dataclasses import dataclass, replace

ORDINALS = ("1st", "2nd", "3rd", "4th", "5th", "6th")


@dataclass(frozen=True)
class Position:
    """Describe one component position; `life_factor` multiplies the component's planted life."""

    name: str
    component: str
    material: str | None = None
    gear: str | None = None
    mate: str | None = None
    life_factor: float = 1.0


def _change_positions(speeds: int, rings: tuple[str, ...]) -> list[Position]:
    """Return rings, engagement teeth, sliders and forks; 2nd and 3rd gear wear soonest."""
    made: list[Position] = []
    pairs = [(g, min(g + 1, speeds - 1)) for g in range(0, speeds, 2)]
    for gear in range(speeds):
        pair = pairs[gear // 2]
        slider = _slider_name(pair)
        factor = {1: 0.75, 2: 0.85}.get(gear, 1.0)
        ordinal, number = ORDINALS[gear], str(gear + 1)
        made += [
            Position(f"{ordinal} synchroniser ring", "synchroniser_ring", rings[gear], number, slider, factor),
            Position(f"{ordinal} engagement teeth", "engagement_teeth", "steel", number, None, factor),
        ]
    for pair in pairs:
        mate = f"{ORDINALS[pair[0]]} synchroniser ring"
        made += [
            Position(_slider_name(pair), "slider", "steel", str(pair[0] + 1), mate),
            Position(_slider_name(pair).replace("slider", "fork"), "fork", "aluminium", str(pair[0] + 1)),
        ]
    return made


def _slider_name(pair: tuple[int, int]) -> str:
    first, second = ORDINALS[pair[0]], ORDINALS[pair[1]]
    return f"{first} slider" if pair[0] == pair[1] else f"{first[0]}-{second[0]} slider"


def _gearbox(speeds: int, rings: tuple[str, ...]) -> list[Position]:
    return [
        *_change_positions(speeds, rings),
        Position("1-2 hub", "hub", "steel", "1"),
        Position("2nd gear", "gear", "steel", "2"),
        Position("3rd gear", "gear", "steel", "3", None, 0.9),
        Position("reverse idler", "gear", "steel", "R", None, 0.8),
        Position("input bearing", "bearing", "steel", None, None, 0.9),
        Position("layshaft front bearing", "bearing", "steel"),
        Position("layshaft rear bearing", "bearing", "steel", None, None, 0.95),
        Position("output bearing", "bearing", "steel", None, None, 1.1),
        Position("speed gear needle bearing", "needle_bearing", "steel"),
        Position("input seal", "seal", "polymer"),
        Position("output seal", "seal", "polymer", None, None, 0.9),
        Position("layshaft", "shaft", "steel"),
        Position("detents", "detent", "steel"),
        Position("thrust washer", "thrust_washer", "steel"),
        Position("casing", "casing", "cast_iron"),
    ]


def _final_drive() -> list[Position]:
    return [
        Position("crown wheel and pinion", "crown_wheel_pinion", "steel"),
        Position("differential gears", "differential_gears", "steel", None, "differential thrust washers"),
        Position("differential thrust washers", "thrust_washer", "steel", None, "differential gears", 0.9),
        Position("pinion head bearing", "bearing", "steel", None, "pinion tail bearing", 0.85),
        Position("pinion tail bearing", "bearing", "steel", None, "pinion head bearing", 0.9),
        Position("left side bearing", "bearing", "steel", None, "right side bearing", 1.1),
        Position("right side bearing", "bearing", "steel", None, "left side bearing", 1.1),
    ]


def _transaxle(speeds: int, rings: tuple[str, ...]) -> list[Position]:
    return [
        *_change_positions(speeds, rings),
        Position("3rd gear", "gear", "steel", "3", None, 0.9),
        Position("input bearing", "bearing", "steel"),
        *_final_drive(),
        Position("input seal", "seal", "polymer"),
        Position("left drive seal", "seal", "polymer", None, None, 0.95),
        Position("right drive seal", "seal", "polymer", None, None, 0.95),
        Position("input shaft", "shaft", "steel"),
        Position("casing", "casing", "aluminium"),
    ]


def _axle() -> list[Position]:
    return [
        *_final_drive(),
        Position("pinion seal", "seal", "polymer", None, None, 0.85),
        Position("left half-shaft seal", "seal", "polymer"),
        Position("right half-shaft seal", "seal", "polymer"),
        Position("left wheel bearing", "bearing", "steel", None, None, 1.0),
        Position("right wheel bearing", "bearing", "steel", None, None, 1.0),
        Position("left half-shaft", "shaft", "steel"),
        Position("right half-shaft", "shaft", "steel"),
        Position("casing", "casing", "cast_iron"),
    ]


def _transfer() -> list[Position]:
    return [
        Position("chain", "chain", "steel"),
        Position("high gear", "gear", "steel", "1"),
        Position("low gear", "gear", "steel", "2", None, 0.9),
        Position("range slider", "slider", "steel", "2", "range synchroniser ring"),
        Position("range synchroniser ring", "synchroniser_ring", "brass", "1", "range slider"),
        Position("range fork", "fork", "aluminium", "1"),
        Position("input bearing", "bearing", "steel"),
        Position("front output bearing", "bearing", "steel", None, None, 0.9),
        Position("rear output bearing", "bearing", "steel", None, None, 0.9),
        Position("low gear needle bearing", "needle_bearing", "steel"),
        Position("input seal", "seal", "polymer"),
        Position("front output seal", "seal", "polymer", None, None, 0.9),
        Position("rear output seal", "seal", "polymer", None, None, 0.9),
        Position("main shaft", "shaft", "steel"),
        Position("thrust washer", "thrust_washer", "steel"),
        Position("casing", "casing", "aluminium"),
    ]


def positions_of(layout: str, speeds: int | None, rings: tuple[str, ...]) -> tuple[Position, ...]:
    """Return the component positions of a layout ("gearbox", "transaxle", "axle" or "transfer").

    Raises ValueError for another layout.
    """
    if layout in ("gearbox", "transaxle"):
        if speeds is None or len(rings) != speeds:
            raise ValueError(f"a {layout} needs a ring material for each speed, found {len(rings)} for {speeds}")
        made = _gearbox(speeds, rings) if layout == "gearbox" else _transaxle(speeds, rings)
    elif layout in ("axle", "transfer"):
        made = _axle() if layout == "axle" else _transfer()
    else:
        raise ValueError(f"unknown layout '{layout}'; there are gearbox, transaxle, axle and transfer")
    names = {position.name for position in made}
    return tuple(p if p.mate is None or p.mate in names else replace(p, mate=None) for p in made)
