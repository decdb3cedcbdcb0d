"""What is not named of a unit is not known, rather than absent."""

from __future__ import annotations

import datetime as dt

import numpy as np
import polars as pl
import pytest

from analytics.expect_clues import Arrival
from analytics.expect_model import Strips, fit, predict
from analytics.expect_untold import LEAST_LIKE, expected_of

SEED, STRIPS = 31, 1200


@pytest.fixture(scope="module")
def strips() -> Strips:
    """Return strips of one family: rings fail in 50 % of those that crunch, in 10 % of the others; brass tells too."""
    rng = np.random.default_rng(SEED)
    crunch, brass = rng.random(STRIPS) < 0.4, rng.random(STRIPS) < 0.5
    failed = rng.random(STRIPS) < np.where(crunch, 0.5, 0.1) * np.where(brass, 1.4, 0.6)
    words = pl.List(pl.String)
    jobs = pl.DataFrame(
        {
            "job": [f"J{i:04}" for i in range(STRIPS)], "job_id": range(STRIPS), "family": ["K4"] * STRIPS,
            "unit_kind": ["gearbox"] * STRIPS, "opened": [dt.date(2020, 1, 1) + dt.timedelta(i) for i in range(STRIPS)],
            "complaints": [["crunch"] if c else ["leak"] for c in crunch], "whens": [[]] * STRIPS,
            "directions": [[]] * STRIPS, "gears": [[]] * STRIPS,
            "oil_brass": np.where(brass, "marked", "none").tolist(), "oil_steel": [None] * STRIPS,
            "oil_changed_recently": [None] * STRIPS, "km": [None] * STRIPS, "duty": [None] * STRIPS,
            "earlier_work": [None] * STRIPS,
        },
        schema_overrides={
            "complaints": words, "whens": words, "directions": words, "gears": words, "oil_steel": pl.String,
            "oil_changed_recently": pl.Boolean, "km": pl.Float64, "duty": pl.String, "earlier_work": pl.String,
        },
    )  # fmt: skip
    looks = pl.DataFrame(
        {
            "place": range(STRIPS), "family": ["K4"] * STRIPS, "position": ["2nd ring"] * STRIPS,
            "component": ["synchroniser_ring"] * STRIPS, "gear": ["2"] * STRIPS, "failed": failed,
        },
        schema_overrides={"place": pl.UInt32},
    )  # fmt: skip
    return Strips(jobs, looks)


def _chance(strips: Strips, arrival: Arrival) -> float:
    found = expected_of(fit(strips), strips.jobs, arrival)
    assert found.height == 1
    assert found["low"][0] < found["probability"][0] < found["high"][0]
    return float(found["probability"][0])


def test_nothing_named_is_the_plain_frequency(strips: Strips) -> None:
    plain = float(strips.looks["failed"].mean())  # type: ignore[arg-type]
    assert _chance(strips, Arrival("K4")) == pytest.approx(plain, abs=0.03)


def test_one_clue_named_is_its_own_frequency_whatever_the_others(strips: Strips) -> None:
    for arrival, mine in (
        (Arrival("K4", complaints=("crunch",)), pl.col("complaints").list.contains("crunch")),
        (Arrival("K4", oil_brass="marked"), pl.col("oil_brass") == "marked"),
    ):
        places = strips.jobs.with_row_index("place").filter(mine)["place"].to_list()
        share = float(strips.looks.filter(pl.col("place").is_in(places))["failed"].mean())  # type: ignore[arg-type]
        assert _chance(strips, arrival) == pytest.approx(share, abs=0.05)


def test_a_clue_for_it_raises_the_chance(strips: Strips) -> None:
    nothing, crunch = _chance(strips, Arrival("K4")), _chance(strips, Arrival("K4", complaints=("crunch",)))
    both = _chance(strips, Arrival("K4", complaints=("crunch",), oil_brass="marked"))
    assert nothing < crunch < both


def test_too_few_like_it_are_not_averaged(strips: Strips) -> None:
    few = strips.jobs.head(LEAST_LIKE - 1)
    arrival = Arrival("K4", complaints=("crunch",))
    model = fit(strips)
    assert expected_of(model, few, arrival)["probability"].to_list() == (
        predict(model, arrival.row())["probability"].to_list()
    )
