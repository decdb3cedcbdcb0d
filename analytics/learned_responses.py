"""Learn how far a reading moves when a pack changes, from the trials within jobs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from scipy import special

from analytics.estimators.arrays import FloatArray
from analytics.estimators.interval import Interval, TooFew
from analytics.estimators.response_slope import ResponseSlope, response_slope
from analytics.estimators.ring_gear_backlash import backlash_per_ring_shift
from analytics.reading_repeatability import Repeatability

FEWEST_JOBS = 6
WILD = 4.0  # a job is named as strange from this many standard deviations of a difference of two readings
LOADED = 2.0  # a torque below this many times the drag says nothing about the pack


@dataclass(frozen=True)
class Response:
    """Hold what one place was seen to do: change of the reading (um or mN.m) per um of pack.

    `make` and `bearing` are None for lengths, which do not depend on them, and for a torque over all makes.
    `theory` is what geometry gives, None for a torque. `toward_mean` is how far the first readings were drawn to their
    target before learning, as a share: a first reading that looked wrong was in part only read wrong.
    """

    family: str
    place: str
    quantity: str
    make: str | None
    bearing: str | None
    slope: Interval | None
    theory: float | None
    trials: int
    strange: tuple[str, ...]
    toward_mean: float
    too_few: str | None


def says_something(reading: pl.Expr, quantity: pl.Expr) -> pl.Expr:
    """Return whether a reading tells where the pack stands: play that reads nought only says 'too tight'."""
    return reading.is_not_null() & ((reading > 0) | (quantity == "pinion_depth"))


def gear_set_theory(visits: pl.DataFrame) -> pl.DataFrame:
    """Return per job the backlash that a ring shift gives by geometry: job, theory (um per um), tooth_form.

    Null where the set's angles are not on record.
    """
    known = visits.filter(pl.all_horizontal(pl.col("pitch_angle", "pressure_angle").is_not_null()))
    angles = known.select("pitch_angle", "pressure_angle", pl.col("spiral_angle").fill_null(0.0))
    unique = angles.unique().sort("pitch_angle", "pressure_angle", "spiral_angle")
    values = [backlash_per_ring_shift(pitch, pressure, spiral) for pitch, pressure, spiral in unique.iter_rows()]
    table = unique.with_columns(pl.Series("theory", values, dtype=pl.Float64))
    keys = ["pitch_angle", "pressure_angle", "spiral_angle"]
    return (
        visits.select("job", "tooth_form", "pitch_angle", "pressure_angle", pl.col("spiral_angle").fill_null(0.0))
        .join(table, on=keys, how="left", maintain_order="left")
        .select("job", "theory", "tooth_form")
    )


def drag_without_preload(states: pl.DataFrame) -> dict[tuple[str, str], float]:
    """Return the torque (mN.m) of each family and place while end play could still be measured."""
    loose = states.filter((pl.col("end_play") > 0) & pl.col("reading").is_not_null())
    table = loose.group_by("family", "place").agg(pl.col("reading").median(), pl.len().alias("count"))
    return {(f, p): value for f, p, value, count in table.iter_rows() if count >= 3}


def learned_responses(
    states: pl.DataFrame, visits: pl.DataFrame, repeatability: Mapping[str, Repeatability]
) -> tuple[Response, ...]:
    """Return the response of every place, and for torques of every bearing make and condition, sorted.

    `states` from `pair_states`. Only the first two trials of a job speak, and only if the pack changed between them.
    A first reading is drawn to its target by the share of its variance that is reading error, because the pack was
    changed for its sake (regression to the mean); without a known repeatability it is taken as it stands.
    """
    rows = states.filter(
        (pl.col("stage") == "trial") & (pl.col("trial") <= 2) & pl.col("pack").is_not_null()
        & says_something(pl.col("reading"), pl.col("quantity"))
    )  # fmt: skip
    theory = gear_set_theory(visits)
    drags = drag_without_preload(states)
    found: list[Response] = []
    for key, part in sorted(rows.partition_by("family", "place", maintain_order=True, as_dict=True).items()):
        family, place = str(key[0]), str(key[1])
        quantity = str(part["quantity"][0])
        noise = repeatability.get(quantity)
        if not quantity.endswith("torque"):
            expected = _expected(part, theory)
            found.append(_response((family, place, quantity, None, None), part, noise, expected))
            continue
        loaded = part.filter(pl.col("reading") > LOADED * drags.get((family, place), 0.0))
        found.append(_response((family, place, quantity, None, None), loaded, noise, None))
        known = loaded.filter(pl.col("make").is_not_null() & pl.col("bearing").is_not_null())
        for condition, group in sorted(known.partition_by("bearing", as_dict=True, maintain_order=True).items()):
            found.append(_response((family, place, quantity, None, str(condition[0])), group, noise, None))
        for pair, group in sorted(known.partition_by("make", "bearing", as_dict=True, maintain_order=True).items()):
            found.append(_response((family, place, quantity, str(pair[0]), str(pair[1])), group, noise, None))
    return tuple(found)


def _expected(part: pl.DataFrame, theory: pl.DataFrame) -> float | None:
    """Return what geometry gives: the sign of the location, or the mean over the gear sets for a ring shift."""
    if part["coordinate"][0] == "pack":
        return float(part["sign"][0])
    values = part.join(theory, on="job")["theory"].drop_nulls().sort()
    mean = values.mean()
    return float(mean) if isinstance(mean, float) else None


def _response(
    key: tuple[str, str, str, str | None, str | None],
    part: pl.DataFrame,
    noise: Repeatability | None,
    theory: float | None,
) -> Response:
    share = _toward_mean(part, noise)
    reading = part["reading"].to_numpy().astype(float)
    drawn = np.where(
        (part["trial"].to_numpy() == 1) & part["target"].is_not_null().to_numpy(),
        reading - share * (reading - part["target"].fill_null(0).to_numpy()),
        reading,
    )
    jobs = part["job"].to_list()
    found: ResponseSlope | TooFew = response_slope(
        part["pack"].to_numpy(), np.asarray(drawn, dtype=np.float64), jobs, minimum_jobs=FEWEST_JOBS
    )
    if isinstance(found, TooFew):
        return Response(*key, None, theory, part.height, (), share, str(found))
    strange = tuple(sorted({str(jobs[place]) for place in found.outliers}))
    if noise is None:
        return Response(*key, found.slope, theory, found.readings, strange, share, None)
    steps = _steps(part)
    off = (steps["moved"] - found.slope.estimate * steps["changed"]).abs() > WILD * np.sqrt(2) * noise.deviation
    wild = set(steps.filter(off)["job"].to_list())
    error = noise.deviation / float(np.sqrt(part["points"].to_numpy().mean()))
    slope = _no_narrower(found.slope, error, steps)
    return Response(*key, slope, theory, found.readings, tuple(job for job in strange if job in wild), share, None)


def _steps(part: pl.DataFrame) -> pl.DataFrame:
    """Return per job with a changed pack how far pack and reading went from the first trial to the second."""
    first, second = (part.filter(pl.col("trial") == n).select("job", "pack", "reading") for n in (1, 2))
    both = first.join(second, on="job", suffix="_after", maintain_order="left")
    return both.select(
        "job",
        (pl.col("pack_after") - pl.col("pack")).alias("changed"),
        (pl.col("reading_after") - pl.col("reading")).alias("moved"),
    ).filter(pl.col("changed") != 0)


def _no_narrower(slope: Interval, deviation: float, steps: pl.DataFrame) -> Interval:
    """Return the interval at least as wide as the reading error alone makes it.

    Readings to the nearest division can agree by chance better than the gauge repeats.
    """
    squares = float(np.sort(np.square(steps["changed"].to_numpy())).sum())
    half = float(-special.stdtrit(slope.units - 1, 0.025) * deviation * np.sqrt(2 / squares))
    return replace(slope, lower=min(slope.lower, slope.estimate - half), upper=max(slope.upper, slope.estimate + half))


def _toward_mean(part: pl.DataFrame, noise: Repeatability | None) -> float:
    """Return reading error as a share of the variance of first readings about their targets."""
    first = part.filter((pl.col("trial") == 1) & pl.col("target").is_not_null())
    if noise is None or first.height < FEWEST_JOBS:
        return 0.0
    points: FloatArray = first["points"].to_numpy().astype(float)
    error = noise.deviation**2 * float(np.mean(1 / points))
    variance = float(np.sort(np.square((first["reading"] - first["target"]).to_numpy())).mean())
    return min(error / variance, 0.5) if variance > 0 else 0.0
