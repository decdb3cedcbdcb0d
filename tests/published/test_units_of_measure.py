"""Check the unit factors against scipy.constants (the units' definitions) and readings met in the trade."""

from __future__ import annotations

from decimal import Decimal

import pytest
from scipy import constants

from ingest.units_of_measure import (
    DISTANCE,
    DURATION,
    LENGTH,
    TORQUE,
    Dimension,
    spelled_unit,
    steps_per_unit,
    to_steps,
)


@pytest.mark.parametrize(
    ("dimension", "unit", "si", "steps_per_si"),
    [
        (LENGTH, "mm", constants.milli, 1e6), (LENGTH, "um", constants.micro, 1e6), (LENGTH, "in", constants.inch, 1e6),
        (LENGTH, "thou", constants.mil, 1e6), (DISTANCE, "km", constants.kilo, 1), (DISTANCE, "mi", constants.mile, 1),
        (DURATION, "h", constants.hour, 1 / constants.minute),
        (DURATION, "min", constants.minute, 1 / constants.minute),
        (TORQUE, "lbf.in", constants.pound_force * constants.inch, 1e3),
        (TORQUE, "lbf.ft", constants.pound_force * constants.foot, 1e3),
        (TORQUE, "kgf.cm", constants.kilogram_force * constants.centi, 1e3),
        (TORQUE, "kgf.m", constants.kilogram_force, 1e3), (TORQUE, "N.cm", constants.centi, 1e3),
    ],
)  # fmt: skip
def test_factor_of_a_unit(dimension: Dimension, unit: str, si: float, steps_per_si: float) -> None:
    assert float(steps_per_unit(dimension, unit)) == pytest.approx(si * steps_per_si, rel=1e-12)


def test_running_torque_of_twenty_pound_inches() -> None:
    # 1 lbf.in = 0.112984829 N.m (scipy.constants); 20 and 26 lbf.in as met in the trade: common practice, no source.
    assert to_steps(TORQUE, Decimal(20), "lbf.in") == 2260
    assert to_steps(TORQUE, Decimal(26), "lbf.in") == 2938


@pytest.mark.parametrize(
    ("text", "unit"),
    [("Nm", "N.m"), ("N·m", "N.m"), ("lb-in", "lbf.in"), ("ft-lb", "lbf.ft"), ("kg-cm", "kgf.cm"), ("MM", "mm"),
     (" thou ", "thou"), ("miles", "mi"), ("hrs", "h"), ("furlong", None)],
)  # fmt: skip
def test_spellings(text: str, unit: str | None) -> None:
    assert spelled_unit(text) == unit


def test_a_unit_of_another_dimension_is_refused() -> None:
    with pytest.raises(ValueError, match="'km' is not a unit of length; expected one of mm, um, in, thou"):
        steps_per_unit(LENGTH, "km")
