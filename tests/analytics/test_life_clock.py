"""Lives counted by the hour meter: ages by hand, and the words and units of the answer."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from analytics.component_lives import lives_on_the_road, lives_that_came_in
from analytics.life_clock import HOURS
from analytics.questions import every_question
from tests.small_workshop import history, load_rows

NEW, FIRST, SECOND, ASKED = dt.date(2015, 1, 1), dt.date(2018, 1, 1), dt.date(2020, 1, 1), dt.date(2021, 1, 1)


@pytest.fixture(scope="module")
def machines(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return four machines with hour meters (a used one among them) and a car without."""
    jobs = [
        ("A1", "A", FIRST, 1_000, 40_000, 1, "reused"), ("A2", "A", SECOND, 2_500, 90_000, 3, "replaced_failed"),
        ("B1", "B", FIRST, 4_200, 30_000, 3, "replaced_failed"), ("B2", "B", SECOND, 5_000, 60_000, 1, "reused"),
        ("C1", "C", FIRST, 800, 20_000, 1, "reused"), ("D1", "D", FIRST, None, 100_000, 3, "replaced_failed"),
    ]  # fmt: skip
    return load_rows(
        tmp_path_factory.mktemp("machines"),
        {
            "family": [{"family": "K4", "kind": "gearbox"}],
            "position": [{"family": "K4", "position": "ring", "component": "synchroniser_ring"}],
            "unit": [
                {"unit": u, "family": "K4", "in_service_since": NEW, "lives_known_from_new": True,
                 "register_entry": dt.date(2017, 1, 1) if u == "C" else None}
                for u in "ABCD"
            ],
            "fitting": [
                {"unit": u, "fitted_from": NEW, "vehicle": f"V{u}", "odometer": 0, "unit_distance": 0, "fleet": "site",
                 "hours": hours}
                for u, hours in (("A", 0), ("B", 3_000), ("C", 0), ("D", None))  # B's meter stood at 3,000 h
            ],
            "job": [
                {"job": j, "unit": u, "kind": "full_rebuild", "opened": day, "torn_down": day, "closed": day,
                 "odometer": km, "hours": hours, "usage_basis": "read"}
                for j, u, day, hours, km, _, _ in jobs
            ],
            "finding": [
                {"job": j, "position": "ring", "grade": grade, "role": "failed" if grade == 3 else "sound",
                 "action": action}
                for j, _, _, _, _, grade, action in jobs
            ],
            "sighting": [
                {"unit": "C", "seen": SECOND, "hours": 1_600, "odometer": 40_000, "state": "running"},
            ],
        },
    )  # fmt: skip


def test_ages_are_hours_since_new_or_since_fitted(machines: Path) -> None:
    rows = lives_that_came_in(history(machines, ASKED), clock=HOURS).rows
    told = {(r["unit"], r["kind"]): (r["lower"], r["upper"]) for r in rows.iter_rows(named=True)}
    assert told == {
        ("A", "interval"): (1_000.0, 2_500.0),  # good at 1,000 h, worn at 2,500 h
        ("B", "left"): (0.0, 1_200.0),  # 4,200 h read less 3,000 h at fitting
        ("B", "right"): (800.0, None),  # the ring fitted at 4,200 h was good at 5,000 h
        ("C", "right"): (800.0, None),
    }  # D has no hour meter and is not among them


def test_by_km_the_same_records_say_what_they_said(machines: Path) -> None:
    rows = lives_that_came_in(history(machines, ASKED)).rows
    told = {(r["unit"], r["kind"]): (r["lower"], r["upper"]) for r in rows.iter_rows(named=True)}
    assert told[("A", "interval")] == (40_000.0, 90_000.0)
    assert told[("D", "left")] == (0.0, 100_000.0)


def test_a_register_follows_machines_by_their_hours(machines: Path) -> None:
    """C is listed from 2017: 731 of the 1,096 days to the look at 800 h; then 1.0959 h a day, by its own last year."""
    (row,) = lives_on_the_road(history(machines, ASKED), clock=HOURS).rows.iter_rows(named=True)
    assert row["unit"] == "C"
    assert row["entry"] == pytest.approx(800 * 731 / 1096, rel=1e-3)
    a_day = 800 / 730
    assert row["lower"] == pytest.approx(1_600 + 366 * a_day, rel=1e-3)
    assert row["upper"] is None


@pytest.mark.parametrize("name", ["component-life", "which-lasts-longer", "due-for-rebuild"])
def test_answers_by_hours_speak_of_hours(machines: Path, clean_demo_folder: Path, name: str) -> None:
    question = every_question()[name]
    answer = question.ask(history(clean_demo_folder, dt.date(2026, 9, 30)), question.chosen({"clock": "hours"}))
    texts = [answer.sentence, answer.number, answer.number_about, answer.method, *answer.notes]
    texts += [f"{a.rule} {a.alternative} {a.moves}" for a in answer.assumptions]
    texts += [f"{c.heading} {c.about}" for c in answer.columns]
    for text in texts:
        assert " km" not in text
        assert "distance" not in text.lower()
    assert all(column.unit != "km" for column in answer.columns)
    assert answer.rows.height


def test_planted_machines_of_the_demo_last_as_many_hours_as_their_km_say(clean_demo_folder: Path) -> None:
    """The site fleet's meters run in step with their odometers in the demo, so that B10 in hours is B10 in km over pace."""
    question = every_question()["component-life"]
    day = history(clean_demo_folder, dt.date(2026, 9, 30))
    fleets = day.query("select distinct fleet from known_fitting where hours_min is not null order by 1")[
        "fleet"
    ].to_list()
    pace = day.query(
        "select sum(odometer_m) / 1000.0 / (sum(hours_min) / 60.0) as pace from known_job where hours_min > 0"
    )["pace"][0]
    found = 0
    for fleet in fleets:
        scoped = day.within(day.scope.__class__(fleet=fleet))
        both = [
            {
                (r["family"], r["position"]): r
                for r in question.ask(scoped, question.chosen({"clock": c})).rows.iter_rows(named=True)
            }
            for c in ("km", "hours")
        ]
        for key, row in both[1].items():
            if key in both[0] and row["b10"] and both[0][key]["b10"] and row["spread"] == "its own":
                found += 1
                assert both[0][key]["b10"] / row["b10"] == pytest.approx(pace, rel=0.25)
    assert found >= 3
