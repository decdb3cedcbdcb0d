"""Convert readings into the whole steps in which the warehouse keeps them."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True)
class Dimension:
    """Describe one kind of magnitude and the step in which it is stored.

    `step` names the stored unit, `suffix` ends the stored column's name, and `units` maps each unit a
    workshop may write to the number of steps in one of it (exact decimals, from the units' definitions).
    """

    name: str
    step: str
    suffix: str
    units: dict[str, Decimal]
    written_as: str


LENGTH = Dimension(
    "length",
    "micrometre",
    "_um",
    {"mm": Decimal(1000), "um": Decimal(1), "in": Decimal(25400), "thou": Decimal("25.4")},
    written_as="mm",
)
DISTANCE = Dimension(
    "distance",
    "metre",
    "_m",
    {"km": Decimal(1000), "m": Decimal(1), "mi": Decimal("1609.344")},
    written_as="km",
)
DURATION = Dimension(
    "duration",
    "minute",
    "_min",
    {"h": Decimal(60), "min": Decimal(1)},
    written_as="h",
)
TORQUE = Dimension(
    "torque",
    "millinewton metre",
    "_mnm",
    {
        "N.m": Decimal(1000),
        "N.cm": Decimal(10),
        "lbf.in": Decimal("112.9848290276167"),
        "lbf.ft": Decimal("1355.8179483314004"),
        "kgf.cm": Decimal("98.0665"),
        "kgf.m": Decimal("9806.65"),
    },
    written_as="N.m",
)
MONEY = Dimension("money", "cent", "_cents", {"money": Decimal(100), "cents": Decimal(1)}, written_as="money")
AMOUNT = Dimension("amount", "thousandth", "_milli", {"pieces": Decimal(1000)}, written_as="pieces")
ANGLE = Dimension("angle", "thousandth of a degree", "_mdeg", {"deg": Decimal(1000)}, written_as="deg")

DIMENSIONS: tuple[Dimension, ...] = (LENGTH, DISTANCE, DURATION, TORQUE, MONEY, AMOUNT, ANGLE)

# Other ways in which the same unit is commonly written in a heading or a unit column.
UNIT_SPELLINGS: dict[str, str] = {
    "mm": "mm",
    "millimetre": "mm",
    "millimeter": "mm",
    "µm": "um",
    "μm": "um",
    "um": "um",
    "micron": "um",
    "in": "in",
    "inch": "in",
    '"': "in",
    "thou": "thou",
    "mil": "thou",
    "km": "km",
    "kilometre": "km",
    "m": "m",
    "mi": "mi",
    "mile": "mi",
    "miles": "mi",
    "h": "h",
    "hr": "h",
    "hrs": "h",
    "hour": "h",
    "hours": "h",
    "min": "min",
    "minutes": "min",
    "n.m": "N.m",
    "nm": "N.m",
    "n·m": "N.m",
    "newton metre": "N.m",
    "n.cm": "N.cm",
    "ncm": "N.cm",
    "n·cm": "N.cm",
    "lbf.in": "lbf.in",
    "lbf·in": "lbf.in",
    "lbfin": "lbf.in",
    "lbf-in": "lbf.in",
    "in-lbf": "lbf.in",
    "in.lbf": "lbf.in",
    "lb-in": "lbf.in",
    "lb.in": "lbf.in",
    "in-lb": "lbf.in",
    "in.lb": "lbf.in",
    "lbf.ft": "lbf.ft",
    "lbf·ft": "lbf.ft",
    "lbf-ft": "lbf.ft",
    "ft-lbf": "lbf.ft",
    "ft.lbf": "lbf.ft",
    "lb-ft": "lbf.ft",
    "ft-lb": "lbf.ft",
    "lb.ft": "lbf.ft",
    "kgf.cm": "kgf.cm",
    "kgf·cm": "kgf.cm",
    "kg.cm": "kgf.cm",
    "kg-cm": "kgf.cm",
    "kgf.m": "kgf.m",
    "kgf·m": "kgf.m",
    "money": "money",
    "cents": "cents",
    "pieces": "pieces",
    "pcs": "pieces",
    "pc": "pieces",
    "deg": "deg",
    "°": "deg",
    "degrees": "deg",
}


def spelled_unit(text: str) -> str | None:
    """Return the unit that a heading or a unit cell spells, or None where it spells none we know."""
    return UNIT_SPELLINGS.get(" ".join(text.strip().lower().split()).rstrip("."))


def steps_per_unit(dimension: Dimension, unit: str) -> Decimal:
    """Return how many stored steps one `unit` holds.

    Raises ValueError with the units that exist where the dimension does not know the unit.
    Source of the factors: the definitions of the inch, the mile, the pound-force and the kilogram-force.
    """
    if unit not in dimension.units:
        known = ", ".join(dimension.units)
        raise ValueError(f"'{unit}' is not a unit of {dimension.name}; expected one of {known}")
    return dimension.units[unit]


def to_steps(dimension: Dimension, value: Decimal, unit: str) -> int:
    """Return `value` in whole stored steps, rounded half to even."""
    return int((value * steps_per_unit(dimension, unit)).to_integral_value(rounding="ROUND_HALF_EVEN"))
