"""Readings follow from true positions, shims and gauge errors with the declared signs."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from demo_warehouse import Workshop
from demo_warehouse.catalogue import read_families
from demo_warehouse.packs import nearest_pack
from demo_warehouse.rounding import clock_metres, on_scale
from demo_warehouse.set_preload import PINION_DRAG, running_torque

FAMILIES = read_families()
PLACES = [(family.name, place.name) for family in FAMILIES.values() for place in family.locations if place.takes_shims]


def _trial_steps(workshop: Workshop, quantity: str) -> pl.DataFrame:
    """Return one row per change of pack between trials: family, location, pack and reading changes in micrometres."""
    records = workshop.records
    pack = (
        records["shim"].filter(pl.col("stage") == "trial")
        .group_by("job", "location", "trial").agg((pl.col("thickness_um") * pl.col("pieces")).sum().alias("pack"))
    )  # fmt: skip
    read = (
        records["measurement"].filter((pl.col("stage") == "trial") & (pl.col("quantity") == quantity))
        .group_by("job", "location", "trial").agg(pl.col("value").mean().alias("reading"))
    )  # fmt: skip
    both = read.join(pack, on=["job", "location", "trial"]).sort("job", "location", "trial")
    steps = both.with_columns(
        pl.col("pack").diff().over("job", "location"),
        pl.col("reading").diff().over("job", "location"),
        lowest=pl.min_horizontal("reading", pl.col("reading").shift(1).over("job", "location")),
    ).drop_nulls()
    steps = steps.filter(pl.col("lowest") > 20)  # a pack that is tight reads nought
    family = records["job"].join(records["unit"].select("unit", "family"), on="unit").select("job", "family")
    return steps.filter(pl.col("pack") != 0).join(family, on="job")


@pytest.mark.parametrize("quantity", ["pinion_depth", "end_float"])
def test_thicker_moves_the_reading_as_its_location_declares(workshop: Workshop, quantity: str) -> None:
    steps = _trial_steps(workshop, quantity)
    seen = 0
    for (family, location), group in steps.group_by("family", "location", maintain_order=True):
        if group.height < 8:
            continue
        seen += 1
        place = next(p for p in FAMILIES[str(family)].locations if p.name == location)
        slope = float((group["pack"] * group["reading"]).sum() / (group["pack"] * group["pack"]).sum())
        assert slope == pytest.approx(place.sign, abs=0.2), (family, location)
    assert seen >= 3


def test_moving_the_ring_gear_moves_backlash_by_the_geometry(workshop: Workshop) -> None:
    """2 sin(pitch angle) tan(pressure angle) / cos(spiral angle): derivation, see the reference values."""
    kind = FAMILIES["T5 compact"].gear_set
    assert kind is not None
    steps = _trial_steps(workshop, "backlash").filter(
        (pl.col("family") == "T5 compact") & (pl.col("location") == "left side")
    )
    slope = float((steps["pack"] * steps["reading"]).sum() / (steps["pack"] * steps["pack"]).sum())
    assert steps.height >= 20
    assert slope == pytest.approx(kind.backlash_per_shift(8), rel=0.08)


def test_backlash_per_shift_of_known_angles() -> None:
    """77 deg pitch, 20 deg pressure, 35 deg spiral: .8659 (reference values: derivation)."""
    kind = FAMILIES["T5 compact"].gear_set
    assert kind is not None
    assert kind.pitch_mdeg(8) == pytest.approx(77_125, abs=1)
    assert kind.backlash_per_shift(8) == pytest.approx(0.8659, abs=0.002)


def test_no_torque_beyond_drag_until_end_play_is_gone() -> None:
    assert running_torque(-30, "Tavrik", "new") == running_torque(0, "Tavrik", "new") == PINION_DRAG
    rates = {m: running_torque(50, m, "new") - running_torque(40, m, "new") for m in ("Tavrik", "Merrowin", "Zorbeth")}
    assert len(set(rates.values())) == 3
    assert running_torque(50, "Tavrik", "used") < running_torque(50, "Tavrik", "new")


def test_readings_as_built_lie_within_limits(workshop: Workshop) -> None:
    """Technicians reshim until the gauge reads right; a second gauge's reading may lie outside."""
    built = workshop.records["measurement"].filter(
        (pl.col("stage") == "as_built") & (pl.col("quantity") == "pinion_depth") & pl.col("target").is_not_null()
    )
    first = built.group_by("job", maintain_order=True).first()
    inside = first.filter(pl.col("value").is_between(pl.col("lower"), pl.col("upper")))
    assert inside.height / first.height > 0.98


def test_new_gear_sets_are_aimed_at_constant_and_marking(workshop: Workshop) -> None:
    records = workshop.records
    changed = records["job"].filter(pl.col("gear_set_found") != pl.col("gear_set_built"))
    family = records["unit"].select("unit", "family")
    rows = (
        records["measurement"].filter((pl.col("quantity") == "pinion_depth") & (pl.col("stage") == "as_built"))
        .join(changed.select("job", "unit", "gear_set_built"), on="job").join(family, on="unit")
        .join(records["gear_set"].select("set_number", "marked_depth_um", "sign_rule"),
              left_on="gear_set_built", right_on="set_number")
    )  # fmt: skip
    assert rows.height > 40
    for row in rows.iter_rows(named=True):
        place = FAMILIES[row["family"]].location_for("pinion_depth")
        assert place is not None
        sign = 1 if row["sign_rule"] == "added" else -1
        assert row["target"] == place.limits["any"][0] + sign * row["marked_depth_um"]


def test_contact_pattern_follows_the_true_depth_error(workshop: Workshop) -> None:
    true = pl.DataFrame(workshop.world.realised.settings).select("job", "true_depth_error_um")
    seen = workshop.records["contact_pattern"].join(true, on="job")
    mean = dict(seen.group_by("drive_profile").agg(pl.col("true_depth_error_um").mean()).iter_rows())
    assert mean["flank"] < -20 < mean["centre"] < 20 < mean["face"]


def test_the_drifting_gauge_shows_on_the_master_and_in_the_truth_only(workshop: Workshop) -> None:
    drift = workshop.scenario.planted.gauge_drift
    checks = workshop.records["gauge_check"].filter(pl.col("quantity") == "pinion_depth")
    late = checks.filter(pl.col("read_on").dt.year() >= drift.from_.year + 2)
    off = dict(late.group_by("instrument").agg((pl.col("value") - pl.col("expected")).mean()).iter_rows())
    assert off[drift.instrument] > 35
    assert abs(off["DG-1"]) < 3
    settings = pl.DataFrame(workshop.world.realised.settings)
    jobs = workshop.records["job"].filter(pl.col("gear_set_found") != pl.col("gear_set_built")).select("job")
    late_new = settings.filter(pl.col("gauge_bias_um") > 25).join(jobs, on="job")
    assert float(np.mean(late_new["true_depth_error_um"].to_numpy())) < -15


def test_the_planted_make_stands_higher_at_its_location(workshop: Workshop) -> None:
    planted = workshop.scenario.planted.bearing_make
    heights = workshop.records["measurement"].filter(pl.col("quantity") == "bearing_stand_out")
    here = heights.filter(pl.col("location") == planted.location)
    mean = dict(here.group_by(pl.col("bearing_maker") == planted.maker).agg(pl.col("value").mean()).iter_rows())
    assert mean[True] - mean[False] == pytest.approx(planted.standing_height_um, abs=5)
    elsewhere = heights.filter(pl.col("location") != planted.location)
    mean = dict(elsewhere.group_by(pl.col("bearing_maker") == planted.maker).agg(pl.col("value").mean()).iter_rows())
    assert mean[True] - mean[False] == pytest.approx(0, abs=5)


@given(st.sampled_from(PLACES), st.integers(0, 9000))
def test_packs_are_made_of_pieces_and_lie_within_the_location(where: tuple[str, str], wanted: int) -> None:
    place = next(p for p in FAMILIES[where[0]].locations if p.name == where[1])
    pack = nearest_pack(place, wanted)
    assert set(pack) <= set(place.piece_sizes())
    assert place.thinnest is not None
    assert place.thickest is not None
    assert place.thinnest <= sum(pack) <= place.thickest
    assert place.stackable or len(pack) == 1
    if place.thinnest <= wanted <= place.thickest:
        assert abs(sum(pack) - wanted) <= (place.step or 0)


def test_readings_stand_on_the_division_of_their_dial() -> None:
    assert on_scale(66_304.9, 10.0) == 66_300
    assert on_scale(14.0, 12.7) == 13
    assert clock_metres(100_000_400, 17_000) == 99_999_808  # 62,137 miles, in 2016
    assert clock_metres(100_000_400, 19_000) == 100_000_000  # kilometres from 2019 on
