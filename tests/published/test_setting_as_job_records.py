"""Published readings, written down as job records, loaded, and asked through the command."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest

from tests.small_workshop import load_rows, shown

DAY = dt.date(2020, 3, 2)
LIMITS = {"lower": 0.08, "upper": 0.20, "target": 0.14}

# Houf & Berman (1988), IEEE Trans. CHMT 11, 516: ten modules, three operators, three readings each (seen in two stored
# copies). Variance components as Montgomery prints them (Design and Analysis of Experiments; from memory).
MODULES = """
37 38 37 41 41 40 41 42 41|42 41 43 42 42 42 43 42 43|30 31 31 31 31 31 29 30 28|42 43 42 43 43 43 42 42 42
28 30 29 29 30 29 31 29 29|42 42 43 45 45 45 44 46 45|25 26 27 28 28 30 29 27 27|40 40 40 43 42 42 43 43 41
25 25 25 27 29 28 26 26 26|35 34 34 35 35 34 35 34 35
"""
COMPONENTS = {"part": 48.29, "repeat": 0.51, "hands": 0.56 + 0.73, "gauge in all": 1.80}


def workshop(jobs: int) -> dict[str, list[dict[str, Any]]]:
    """Return a gearbox family with one shim location and some jobs a day apart."""
    place = {"family": "K4", "location": "layshaft end", "sits": "shims", "quantity": "end_float"}
    return {
        "family": [{"family": "K4", "kind": "gearbox"}],
        "shim_location": [{**place, "thicker_moves": "decreases"}],
        "unit": [{"unit": f"U{n}", "family": "K4"} for n in range(jobs)],
        "job": [
            {"job": f"J{n}", "unit": f"U{n}", "kind": "full_rebuild", "opened": DAY + dt.timedelta(days=n),
             "torn_down": DAY + dt.timedelta(days=n), "closed": DAY + dt.timedelta(days=n), "technician": "A"}
            for n in range(jobs)
        ],
    }  # fmt: skip


def reading(job: int, stage: str, value: float, **more: object) -> dict[str, Any]:
    """Return one end float in mm."""
    fixed = {
        "job": f"J{job}",
        "quantity": "end_float",
        "location": "layshaft end",
        "stage": stage,
        "unit_written": "mm",
    }
    return {**fixed, "value": value, **more}


def test_capability_of_nist_6_1_6(tmp_path: Path) -> None:
    # NIST/SEMATECH e-Handbook 6.1.6: limits 8 and 20, mean 16, s 2: Cp 1.0, Cpk .6667. Thirty readings with that mean
    # and standard deviation, in hundredths of a millimetre.
    steps = [20] * 12 + [30, 10, 0]
    assert sum(2 * step**2 for step in steps) == 29 * 20**2
    values = [160 + sign * step for step in steps for sign in (1, -1)]
    rows = workshop(len(values))
    rows["measurement"] = [reading(n, "trial", v / 1000, trial=1, **LIMITS) for n, v in enumerate(values)]
    row = shown(load_rows(tmp_path, rows), "how-close-we-set", "--as-of", "2020-12-31")["rows"][0]
    assert row["jobs"] == 30
    assert row["pp"] == pytest.approx(1.0)
    assert row["ppk"] == pytest.approx(0.6667, abs=5e-5)


def test_individuals_chart_of_nist_6_3_2_2(tmp_path: Path) -> None:
    # NIST/SEMATECH e-Handbook 6.3.2.2: mean 50.81, limits 55.8041 and 45.8159, read here as hundredths of a millimetre
    # between limits of 40 and 60; given twice over, back to back with itself, it keeps its mean.
    flow = [496, 476, 499, 513, 478, 512, 526, 524, 536, 521]
    values = [*flow, *reversed(flow)]
    limits = {"lower": 0.4, "upper": 0.6, "target": 0.5}
    rows = workshop(len(values))
    rows["measurement"] = [reading(n, "trial", v / 1000, trial=1, **limits) for n, v in enumerate(values)]
    answer = shown(load_rows(tmp_path, rows), "how-close-we-set", "--as-of", "2020-12-31")
    line = answer["curves"]["individuals"][0]
    assert 50 + 10 * line["centre"] == pytest.approx(50.81, abs=5e-5)
    # The mean moving range 1.8778 of ten becomes 2 x 9 of them and one of nought over nineteen.
    spread = 3 * (1.8778 * 18 / 19) / 1.128
    assert 50 + 10 * line["upper"] == pytest.approx(50.81 + spread, abs=2e-4)
    assert 50 + 10 * line["lower"] == pytest.approx(50.81 - spread, abs=2e-4)


def test_gauge_study_of_houf_and_berman(tmp_path: Path) -> None:
    modules = [list(map(int, line.split())) for line in MODULES.replace("\n", "|").strip("|").split("|")]
    assert len(modules) == 10
    rows = workshop(len(modules))
    rows["measurement"] = [
        reading(job, "as_built", value / 1000, technician="ABC"[place // 3])
        for job, values in enumerate(modules)
        for place, value in enumerate(values)
    ]
    answer = shown(load_rows(tmp_path, rows), "how-close-we-set", "--as-of", "2020-12-31")
    found = {row["source"]: row["deviation"] ** 2 for row in answer["curves"]["repeats"]}
    for source, variance in COMPONENTS.items():
        assert found[source] == pytest.approx(variance, abs=0.015), source
    assert answer["rows"] == []
    assert "No first trial" in answer["answer"]


def test_an_axle_drive_set_by_its_marking(tmp_path: Path) -> None:
    """Facts of the trade (common practice, no source).

    66.30 mm and a marking of +0.30 make a target of 66.60 mm; a shim behind the pinion head shortens the depth, so that
    a set marked higher asks for a thinner pack; a used set goes back to what it read before the strip.
    """
    jobs = 12
    rows = workshop(0) | {
        "family": [{"family": "A7", "kind": "axle_drive"}],
        "shim_location": [
            {"family": "A7", "location": "behind pinion head", "sits": "shims", "quantity": "pinion_depth",
             "thicker_moves": "decreases", "thinnest": 0.5, "thickest": 3.0, "step": 0.05, "stackable": True}
        ],
        "specification": [
            {"family": "A7", "location": "behind pinion head", "quantity": "pinion_depth", "unit_written": "mm",
             "gear_set_condition": "new", "basis": "constant_plus_marked_deviation", "constant": 66.30,
             "lower": -0.03, "upper": 0.03},
            {"family": "A7", "location": "behind pinion head", "quantity": "pinion_depth", "unit_written": "mm",
             "gear_set_condition": "used", "basis": "recorded_before_strip", "lower": -0.03, "upper": 0.03},
        ],
        "unit": [{"unit": f"U{n}", "family": "A7"} for n in range(jobs)],
        "part": [
            {"part": f"S{size}", "family": "A7", "location": "behind pinion head", "component": "shim",
             "thickness": size / 100} for size in (10, 15, 20, 50, 100)
        ],
        "stock": [{"part": f"S{size}", "counted_on": DAY, "on_hand": 4} for size in (10, 15, 20, 50, 100)],
    }  # fmt: skip
    rows["job"] = [
        {"job": f"J{n}", "unit": f"U{n}", "kind": "full_rebuild", "opened": DAY + dt.timedelta(days=n),
         "torn_down": DAY + dt.timedelta(days=n), "closed": DAY + dt.timedelta(days=n), "technician": "A"}
        for n in range(jobs)
    ]  # fmt: skip
    fixed = {"quantity": "pinion_depth", "location": "behind pinion head", "unit_written": "mm"}
    rows["measurement"] = [
        {"job": f"J{n}", **fixed, "stage": stage, "trial": trial, "value": 66.30 + 0.01 * (n % 3 - 1), "target": 66.30,
         "lower": 66.27, "upper": 66.33, "bearing_condition": "new"}
        for n in range(jobs) for stage, trial in (("as_found", None), ("trial", 1), ("as_built", None))
    ]  # fmt: skip
    rows["shim"] = [
        {"job": f"J{n}", "location": "behind pinion head", "stage": stage, "trial": trial, "thickness": 1.0}
        for n in range(jobs) for stage, trial in (("as_found", None), ("trial", 1), ("as_built", None))
    ]  # fmt: skip
    folder = load_rows(tmp_path, rows)
    asked = ("first-try-shims", "--family", "A7", "--location", "behind pinion head", "--as-of", "2020-12-31")
    found = ("--as-found-pack-mm", "1.0", "--as-found-reading-mm", "66.30")
    new = shown(folder, *asked, "--gear-set", "new", "--marked-depth-mm", "0.30", *found)
    row = new["rows"][0]
    assert (row["target"], row["lower"], row["upper"]) == pytest.approx((66.60, 66.57, 66.63))
    assert row["pack_um"] == pytest.approx(700, abs=15)  # 1.00 - 0.30
    assert row["pieces"] == "0.200 + 0.500"
    used = shown(folder, *asked, "--gear-set", "used", *found)["rows"][0]
    assert used["target"] == pytest.approx(66.30)
    assert used["rests_on"] == "the reading before the strip"
    assert used["pack_um"] == pytest.approx(1000, abs=15)
    of_the_only_location = shown(folder, asked[0], "--family", "A7", *asked[5:], "--gear-set", "used", *found)
    assert of_the_only_location["rows"] == [used]
    missing = shown(folder, *asked, "--gear-set", "new", *found)["rows"][0]
    assert "marked-depth-mm" in missing["said"]
    assert any("qualified technician" in note for note in new["notes"])
