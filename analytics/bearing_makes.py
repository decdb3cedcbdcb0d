"""Learn what a bearing make changes at each place: from jobs that put another make in, and from measured heights."""

from __future__ import annotations

import polars as pl

from analytics.estimators.arrays import FloatArray
from analytics.estimators.changed_make import changed_make_effects
from analytics.estimators.interval import TooFew
from analytics.estimators.multiple_testing import benjamini_hochberg
from analytics.history import History

SURE = 0.05  # false discoveries among all makes at all places that are looked at together

_SCHEMA = {
    "family": pl.String, "location": pl.String, "quantity": pl.String, "make": pl.String, "jobs": pl.Int64,
    "effect_um": pl.Float64, "effect_low": pl.Float64, "effect_high": pl.Float64, "chance": pl.Float64,
}  # fmt: skip


_HEIGHTS = """
select j.family, m.location, m.bearing_maker as make, m.value::double as height
from known_measurement as m join known_job as j using (job)
where m.quantity = 'bearing_stand_out' and m.bearing_maker is not null and m.location is not null
order by all
"""
FEWEST_HEIGHTS = 5


def standing_heights(history: History) -> pl.DataFrame:
    """Return by how much each make stands higher than the others at a location, where stand-out was measured.

    Columns: family, location, make, height_um with 95 % limits (mean against the mean of the other makes, t with
    unequal variances, Welch), heights (readings of the make). At least five readings on either side.
    """
    frame = history.query(_HEIGHTS)
    found = []
    for (family, location), part in sorted(
        frame.partition_by("family", "location", maintain_order=True, as_dict=True).items()
    ):
        for make in part["make"].unique().sort().to_list():
            mine = part.filter(pl.col("make") == make)["height"].to_numpy() - part["height"][0]
            others = part.filter(pl.col("make") != make)["height"].to_numpy() - part["height"][0]
            if min(mine.size, others.size) < FEWEST_HEIGHTS or mine.std() == 0 or others.std() == 0:
                continue
            limits = _welch_limits(mine, others)
            found.append((family, location, make, float(mine.mean() - others.mean()), *limits, mine.size))
    schema = {
        "family": pl.String, "location": pl.String, "make": pl.String, "height_um": pl.Float64,
        "height_low": pl.Float64, "height_high": pl.Float64, "heights": pl.Int64,
    }  # fmt: skip
    table = pl.DataFrame(found, schema=schema, orient="row")
    return table.filter(pl.all_horizontal(pl.col("height_low", "height_high").is_finite()))


def _welch_limits(mine: FloatArray, others: FloatArray) -> tuple[float, float]:
    from scipy import stats  # loads slowly, and few workshops measure heights

    limits = stats.ttest_ind(mine, others, equal_var=False).confidence_interval(0.95)
    return float(limits.low), float(limits.high)


def bearing_makes(rows: pl.DataFrame) -> pl.DataFrame:
    """Return what each bearing make moves the pack by, one row per place and make, places with too few jobs left out.

    `rows` from `set_rows`. Columns: family, location, quantity, make, jobs (with another make in or out), effect_um
    with 95 % limits (change of the pack needed against the mean of the other makes; a ring shift for side packs),
    chance (two-sided), stands_out (told from nothing after Benjamini and Hochberg over all looks).
    """
    known = rows.filter(
        pl.all_horizontal(pl.col("dimension", "found_dimension", "make", "found_make").is_not_null())
        & (pl.col("coordinate") != "total")
    )
    found = []
    for (family, place, quantity), part in sorted(
        known.partition_by("family", "place", "quantity", maintain_order=True, as_dict=True).items()
    ):
        kinds = part.select(pl.format("{}, {}, {}", pl.col("bearing").fill_null("?"), "gear_set", "case_replaced"))
        effects = changed_make_effects(
            (part["found_dimension"] - part["dimension"]).to_numpy(), part["found_make"].to_list(),
            part["make"].to_list(), kinds.to_series().to_list(),
        )  # fmt: skip
        if isinstance(effects, TooFew):
            continue
        for e in effects:
            ends = (e.effect.estimate, e.effect.lower, e.effect.upper)
            found.append((family, place, quantity, e.make, e.jobs, *ends, e.probability))
    table = pl.DataFrame(found, schema=_SCHEMA, orient="row")
    adjusted = benjamini_hochberg(table["chance"].to_numpy()).tolist()
    return table.with_columns((pl.Series("adjusted", adjusted, dtype=pl.Float64) <= SURE).alias("stands_out"))
