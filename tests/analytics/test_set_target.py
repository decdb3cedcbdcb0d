"""Where a target comes from."""

import polars as pl
import pytest

from analytics.set_target import NoTarget, Setting, Target, target_for

LIMITS = pl.DataFrame(
    [
        ("A7", "head", "pinion_depth", "new", "any", "constant_plus_marked_deviation", 66300, -30, 30),
        ("A7", "head", "pinion_depth", "used", "any", "recorded_before_strip", None, -30, 30),
        ("A7", "spacer", "preload_torque", "any", "new", "constant", 2550, 2000, 3200),
        ("A7", "spacer", "preload_torque", "any", "used", "constant", 1400, 1000, 1900),
        ("A7", "left side", "backlash", "new", "any", "marked_on_part", None, -40, 40),
        ("K4", None, "end_float", "any", "any", "constant", None, 50, 150),
        ("K5", "end", "end_float", "any", "any", "constant", None, None, 150),
    ],
    schema=["family", "location", "quantity", "gear_set", "bearing", "basis", "constant", "lower", "upper"],
    orient="row",
)


def asked(family: str, location: str, quantity: str, **setting: object) -> Target | NoTarget:
    return target_for(LIMITS, family, location, quantity, Setting(**{"gear_set": "kept", "bearing": "new", **setting}))  # type: ignore[arg-type]


@pytest.mark.parametrize(("bearing", "target", "limits"), [("new", 2550, (2000, 3200)), ("used", 1400, (1000, 1900))])
def test_the_specification_of_the_bearings_condition_holds(bearing: str, target: int, limits: tuple[int, int]) -> None:
    found = asked("A7", "spacer", "preload_torque", bearing=bearing)
    assert isinstance(found, Target)
    assert (found.target, found.lower, found.upper) == (target, *limits)


def test_a_new_set_goes_by_its_marking_and_a_used_one_by_its_reading() -> None:
    new = asked("A7", "head", "pinion_depth", gear_set="changed", marking=300, found_reading=66420)
    used = asked("A7", "head", "pinion_depth", marking=300, found_reading=66420)
    assert isinstance(new, Target)
    assert isinstance(used, Target)
    assert (new.target, new.lower, new.upper) == (66600, 66570, 66630)
    assert (used.target, used.lower, used.upper) == (66420, 66390, 66450)


def test_a_used_set_that_was_not_read_falls_back_on_its_marking_and_says_so() -> None:
    found = asked("A7", "head", "pinion_depth", marking=-50)
    assert isinstance(found, Target)
    assert found.target == 66250
    assert "not read before the strip" in found.rests_on


@pytest.mark.parametrize(
    ("place", "setting", "words"),
    [
        (("A7", "head", "pinion_depth"), {"gear_set": "changed"}, "give marked-depth-mm"),
        (("A7", "head", "pinion_depth"), {}, "not on record"),
        (("A7", "left side", "backlash"), {"gear_set": "changed"}, "marked on the gear set"),
        (("K5", "end", "end_float"), {}, "neither a target nor two limits"),
        (("X2", "front", "end_float"), {}, "X2 has no specification for end float front"),
    ],
)
def test_what_is_missing_is_said(place: tuple[str, str, str], setting: dict[str, object], words: str) -> None:
    found = asked(*place, **setting)
    assert isinstance(found, NoTarget)
    assert words in found.reason


def test_without_a_target_the_middle_of_the_limits_is_aimed_at() -> None:
    found = asked("K4", "layshaft end", "end_float")
    assert isinstance(found, Target)
    assert found.target == 100
