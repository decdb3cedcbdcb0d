"""NIST/SEMATECH e-Handbook 8.4.1.3, written down as job records on a register, loaded, asked through the command."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest

from tests.small_workshop import load_rows, shown

# https://www.itl.nist.gov/div898/handbook/apr/section4/apr413.htm: ten failures, ten more unfailed at 500.
FAILED = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]
UNFAILED = 10
# As printed there for the Weibull; Akaike's criterion of the lognormal beside it. The scale's fourth decimal and what
# follows from it are the stopping rule of the program that printed them (tests/published/test_nist_right_censoring.py).
WEIBULL = {"scale": (606.5280, 5e-4), "shape": (1.7208, 5e-5), "log_likelihood": (-75.135, 5e-4), "aic": (154.27, 5e-3),
           "mean": (540.737, 1e-3), "deviation": (323.806, 1e-3)}  # fmt: skip
LOGNORMAL_AIC = 154.39

NEW, CAME, ENDED = dt.date(2015, 1, 1), dt.date(2018, 1, 1), dt.date(2018, 6, 1)


def _on_a_register(folder: Path) -> Path:
    """Load 20 units of a fleet from new: ten came with the failure, ten never came and were retired at 500 km."""
    failed, sound = [f"F{i:02d}" for i in range(len(FAILED))], [f"S{i:02d}" for i in range(UNFAILED)]
    return load_rows(
        folder,
        {
            "family": [{"family": "NB", "kind": "gearbox"}],
            "position": [{"family": "NB", "position": "bearing", "component": "bearing"}],
            "unit": [
                {"unit": u, "family": "NB", "in_service_since": NEW, "register_entry": NEW,
                 "lives_known_from_new": True}
                for u in [*failed, *sound]
            ],
            "fitting": [
                {"unit": u, "fitted_from": NEW, "vehicle": f"V{u}", "fleet": "Fleet", "odometer": 1000,
                 "unit_distance": 0, "listed": NEW}
                for u in [*failed, *sound]
            ],
            "job": [
                {"job": f"J{u}", "unit": u, "kind": "full_rebuild", "opened": CAME, "torn_down": CAME, "closed": CAME,
                 "odometer": 1000 + age, "odometer_since": 1000 + age, "usage_basis": "read"}
                for u, age in zip(failed, FAILED, strict=True)
            ],
            "finding": [
                {"job": f"J{u}", "position": "bearing", "grade": 4, "role": "cause", "action": "replaced_failed"}
                for u in failed
            ],
            "sighting": [
                {"unit": u, "seen": ENDED, "odometer": 1500, "state": "retired", "source": "register"} for u in sound
            ],
        },
    )  # fmt: skip


@pytest.fixture(scope="module")
def answer(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """Return what the command says of lives from new on the road."""
    folder = _on_a_register(tmp_path_factory.mktemp("nist"))
    return shown(folder, "component-life", "--as-of", "2018-06-01", "--lives", "from_new")


def test_units_that_never_came_are_counted(answer: dict[str, Any]) -> None:
    (row,) = answer["rows"]
    assert row["population"] == "on the road"
    assert (row["lives"], row["exact"], row["right"]) == (20, 10, 10)
    assert row["longest"] == pytest.approx(500)


def test_weibull_is_the_printed_one(answer: dict[str, Any]) -> None:
    found = {model["model"]: model for model in answer["curves"]["models"]}
    for name, (value, error) in WEIBULL.items():
        assert found["Weibull"][name] == pytest.approx(value, abs=error)
    assert found["lognormal"]["aic"] == pytest.approx(LOGNORMAL_AIC, abs=5e-3)
