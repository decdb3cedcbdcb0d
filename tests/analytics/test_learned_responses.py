"""What trials teach about the response of a reading."""

import numpy as np
import polars as pl
import pytest

from analytics.learned_responses import learned_responses, says_something
from analytics.reading_repeatability import Repeatability

VISITS = pl.DataFrame(
    schema={
        "job": pl.String, "tooth_form": pl.String, "pitch_angle": pl.Float64, "pressure_angle": pl.Float64,
        "spiral_angle": pl.Float64,
    }
)  # fmt: skip
NOISE = 10.0


def trials(seed: int, jobs: int = 400, slope: float = 1.0, slip: bool = False) -> pl.DataFrame:
    """Return trials of a depth whose technicians reshim what reads more than 30 um off, in steps of 50 um."""
    random = np.random.default_rng(seed)
    rows = []
    for job in range(jobs):
        off = random.normal(0, 25)
        reading = off + random.normal(0, NOISE)
        rows.append((f"J{job}", 1, 1000.0, reading))
        if abs(reading) > 30:
            change = 50 * round(-reading / 50) or (-50 if reading > 0 else 50)
            after = off + slope * change + random.normal(0, NOISE) + (400 if slip and job % 50 == 0 else 0)
            rows.append((f"J{job}", 2, 1000.0 + change, after))
    frame = pl.DataFrame(rows, schema=["job", "trial", "pack", "reading"], orient="row")
    return frame.with_columns(
        pl.lit("T5").alias("family"), pl.lit("flange").alias("place"), pl.lit("pinion_depth").alias("quantity"),
        pl.lit("pack").alias("coordinate"), pl.lit(1).alias("sign"), pl.lit("trial").alias("stage"),
        pl.lit(0.0).alias("target"), pl.lit(1).alias("points"), pl.lit(None, dtype=pl.Float64).alias("end_play"),
        pl.lit(None, dtype=pl.String).alias("make"), pl.lit(None, dtype=pl.String).alias("bearing"),
    )  # fmt: skip


KNOWN = {"pinion_depth": Repeatability(NOISE, 100, "by hand")}


def test_a_first_reading_that_was_reshimmed_was_in_part_only_read_wrong() -> None:
    with_noise = [learned_responses(trials(seed), VISITS, KNOWN)[0].slope for seed in range(12)]
    without = [learned_responses(trials(seed), VISITS, {})[0].slope for seed in range(12)]
    corrected, raw = (np.mean([s.estimate for s in found if s is not None]) for found in (with_noise, without))
    assert raw > 1.06  # regression to the mean makes the reading seem to move more than it does
    assert corrected == pytest.approx(1.0, abs=0.03)
    inside = [s.lower <= 1.0 <= s.upper for s in with_noise if s is not None]
    assert sum(inside) >= 10


def test_slips_are_named_and_do_not_speak() -> None:
    found = learned_responses(trials(3, slip=True), VISITS, KNOWN)[0]
    assert found.slope is not None
    assert found.slope.lower < 1.0 < found.slope.upper
    assert set(found.strange) <= {f"J{job}" for job in range(0, 400, 50)}
    assert found.strange


def test_readings_that_agree_by_chance_are_no_surer_than_the_gauge() -> None:
    frame = trials(1).with_columns((pl.col("reading") / 50).round() * 50)
    found = learned_responses(frame, VISITS, KNOWN)[0].slope
    assert found is not None
    assert found.upper - found.lower > 0.03


def test_too_few_is_said() -> None:
    found = learned_responses(trials(1, jobs=5), VISITS, KNOWN)[0]
    assert found.slope is None
    assert "of 6 jobs with a changed pack" in str(found.too_few)


def test_play_that_reads_nought_says_nothing_but_depth_may() -> None:
    frame = pl.DataFrame(
        {"reading": [0.0, 5.0, 0.0, None], "quantity": ["end_float", "end_float", "pinion_depth", "backlash"]}
    )
    assert frame.select(says_something(pl.col("reading"), pl.col("quantity")).alias("x"))["x"].to_list() == [
        False, True, True, False,
    ]  # fmt: skip
