"""Turn expected findings into parts to order beforehand, by how often each is used at a bad or a sound position."""

from __future__ import annotations

import polars as pl

from analytics.history import History

BORROWED_LOOKS = 3.0  # looks' worth by which a position's habit is drawn to that of its component
PARTS_SCHEMA = {"part": pl.String, "probability": pl.Float64, "pieces": pl.Float64, "positions": pl.String}

_USED = """
select j.job_id, p.position, p.part, sum(p.quantity_milli)::double / 1000 as pieces
from known_part_use as p join known_job as j using (job)
where p.position is not null and j.kind = 'full_rebuild' and p.origin <> 'own_refitted'
  and j.job_id in (select unnest($jobs)) group by all order by all
"""


def parts_used(history: History, jobs: pl.DataFrame) -> pl.DataFrame:
    """Return one row per full rebuild among the jobs, position and part fitted there: job_id, position, part, pieces."""
    return history.query(_USED, {"jobs": jobs["job_id"].to_list()})


def habits(jobs: pl.DataFrame, looks: pl.DataFrame, used: pl.DataFrame) -> pl.DataFrame:
    """Return for each family, position and part how often it is used when found failed, and when not.

    Columns: family, position, component, part, when_failed, when_sound (shares), pieces (a use). Drawn to the habit of
    the component by three looks' worth.
    """
    numbered = jobs.with_row_index("place").select("place", "job_id")
    here = used.join(numbered, on="job_id").select("place", "position", "part", "pieces")
    told = looks.join(here, on=["place", "position"], how="left")
    key = ["family", "position", "component"]
    seen = looks.group_by(key).agg(pl.col("failed").sum().alias("failed"), (~pl.col("failed")).sum().alias("sound"))
    uses = told.drop_nulls("part").group_by(*key, "part").agg(
        pl.col("failed").sum().alias("used_failed"), (~pl.col("failed")).sum().alias("used_sound"),
        pl.col("pieces").mean(),
    ).join(seen, on=key)  # fmt: skip
    pooled = {
        name: pl.col(f"used_{name}").sum().over("component") / pl.col(name).sum().over("component")
        for name in ("failed", "sound")
    }
    shares = [
        ((pl.col(f"used_{name}") + BORROWED_LOOKS * pooled[name].fill_nan(0.5)) / (pl.col(name) + BORROWED_LOOKS))
        .clip(0.0, 1.0).alias(f"when_{name}")
        for name in ("failed", "sound")
    ]  # fmt: skip
    return uses.with_columns(shares).select(*key, "part", "when_failed", "when_sound", "pieces").sort(*key, "part")


def parts_expected(habit: pl.DataFrame, expected: pl.DataFrame) -> pl.DataFrame:
    """Return one row per job (place) and part: chance that any is used, pieces to be expected, positions.

    expected: what `predict` gives. Positions of one part are taken as independent given the clues.
    """
    told = habit.join(expected.select("place", "family", "position", "probability"), on=["family", "position"])
    p = pl.col("probability")
    told = told.with_columns((p * pl.col("when_failed") + (1 - p) * pl.col("when_sound")).alias("chance"))
    return told.sort("place", "part", "position").group_by("place", "part", maintain_order=True).agg(
        (1 - (1 - pl.col("chance")).product()).alias("probability"),
        (pl.col("chance") * pl.col("pieces")).sum().alias("pieces"),
        pl.col("position").str.join(", ").alias("positions"),
    ).select("place", *PARTS_SCHEMA)  # fmt: skip
