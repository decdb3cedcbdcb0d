"""Turn what is known when a unit arrives into clues: complaints, oil, usage, duty, earlier work."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl

from analytics.estimators.arrays import FloatArray
from analytics.history import History

MINIMUM_WITH = 8  # jobs with a clue, below which it is not used
BANDS_KM = (100, 200, 300)

_JOBS = """
with told as (  -- one row per job: its complaints in words
  select job, list(complaint) as complaints,
    list(complaint || ', ' || when_heard) filter (when_heard is not null) as whens,
    list(complaint || ', changing ' || shift_direction) filter (shift_direction is not null) as directions,
    list(distinct gear) filter (gear is not null and complaint in ('crunch', 'baulks', 'jumps_out')) as gears
  from known_complaint group by job
)
select j.job, j.job_id, j.unit, j.unit_id, j.family, f.kind as unit_kind, j.opened,
  coalesce(j.torn_down, j.opened) as day, coalesce(j.duty, t.duty) as duty,
  j.oil_brass, j.oil_steel, j.oil_changed_recently, coalesce(j.unit_distance_m, j.odometer_m) / 1000.0 as km,
  j.earlier_work, c.complaints, c.whens, c.directions, c.gears, j.kind
from known_job as j left join known_family as f using (family) left join told as c using (job)
asof left join known_fitting as t on t.unit = j.unit and t.fitted_from <= j.opened
where {where} order by j.job_id
"""


@dataclass(frozen=True)
class Arrival:
    """Hold what is known of one unit when it arrives; empty or None where not known."""

    family: str
    unit_kind: str | None = None
    complaints: tuple[str, ...] = ()
    whens: tuple[str, ...] = ()
    directions: tuple[str, ...] = ()
    gears: tuple[str, ...] = ()
    oil_brass: str | None = None
    oil_steel: str | None = None
    oil_changed_recently: bool | None = None
    km: float | None = None
    duty: str | None = None
    earlier_work: str | None = None

    def row(self) -> pl.DataFrame:
        """Return the arrival as one row in the shape of `arrivals`."""
        told = {name: [list(v) if isinstance(v := getattr(self, name), tuple) else v] for name in _KEPT}
        return pl.DataFrame(told, schema=_KEPT)


_WORDS = pl.List(pl.String)
_KEPT: dict[str, pl.DataType | type[pl.DataType]] = {
    "family": pl.String, "unit_kind": pl.String, "complaints": _WORDS, "whens": _WORDS, "directions": _WORDS,
    "gears": _WORDS, "oil_brass": pl.String, "oil_steel": pl.String, "oil_changed_recently": pl.Boolean,
    "km": pl.Float64, "duty": pl.String, "earlier_work": pl.String,
}  # fmt: skip


def arrivals(history: History, where: str = "true", values: Mapping[str, object] | None = None) -> pl.DataFrame:
    """Return one row per job with what was known of it at arrival, and job, job_id, unit, unit_id, opened, day, kind.

    `day` is the day from which its findings could be known; `where` limits the jobs (SQL over known_job as j).
    """
    return history.query(_JOBS.format(where=where), values)


def clue_words(jobs: pl.DataFrame) -> pl.DataFrame:
    """Return one row per job (its place) and clue that it shows: place, clue in words."""
    numbered = jobs.with_row_index("place")
    lists = [
        numbered.select("place", pl.col(name).alias("clue")).explode("clue", empty_as_null=True, keep_nulls=True)
        for name in ("complaints", "whens", "directions")
    ]
    km = pl.col("km")
    words = {
        "duty": pl.concat_str(pl.lit("duty "), "duty"),
        "brass": pl.when(pl.col("oil_brass") != "none").then(pl.concat_str(pl.lit("brass in the oil: "), "oil_brass")),
        "steel": pl.when(pl.col("oil_steel") != "none").then(pl.concat_str(pl.lit("steel in the oil: "), "oil_steel")),
        "brass_none": pl.when(pl.col("oil_brass") == "none").then(pl.lit("no brass in the oil")),
        "steel_none": pl.when(pl.col("oil_steel") == "none").then(pl.lit("no steel in the oil")),
        "changed": pl.when("oil_changed_recently").then(pl.lit("oil changed recently")),
        "earlier": pl.concat_str(pl.lit("earlier work: "), "earlier_work"),
        "usage": pl.when(km < BANDS_KM[0]).then(pl.lit(f"under {BANDS_KM[0]},000 km"))
        .when(km < BANDS_KM[1]).then(pl.lit(f"{BANDS_KM[0]},000 to {BANDS_KM[1]},000 km"))
        .when(km < BANDS_KM[2]).then(pl.lit(f"{BANDS_KM[1]},000 to {BANDS_KM[2]},000 km"))
        .when(km.is_not_null()).then(pl.lit(f"{BANDS_KM[2]},000 km or more")),
    }  # fmt: skip
    scaled = numbered.with_columns((km / 1000).alias("km"))
    single = [scaled.select("place", word.alias("clue")) for word in words.values()]
    every = pl.concat([*lists, *single]).drop_nulls().unique().sort("place", "clue")
    return every.with_columns(pl.col("clue").str.replace_all("_", " "))


def clue_matrix(jobs: pl.DataFrame, clues: list[str]) -> FloatArray:
    """Return (jobs, clues) 1 where the job shows the clue."""
    told = clue_words(jobs).with_columns(
        pl.col("clue").replace_strict({c: i for i, c in enumerate(clues)}, default=None, return_dtype=pl.Int64)
    ).drop_nulls()  # fmt: skip
    matrix = np.zeros((jobs.height, len(clues)))
    matrix[told["place"].to_numpy(), told["clue"].to_numpy()] = 1.0
    return matrix


def used_clues(jobs: pl.DataFrame) -> list[str]:
    """Return the clues that enough jobs show, and enough do not, in alphabetical order."""
    counts = clue_words(jobs).group_by("clue").len()
    kept = counts.filter((pl.col("len") >= MINIMUM_WITH) & (pl.col("len") <= jobs.height - MINIMUM_WITH))
    return sorted(kept["clue"].to_list())
