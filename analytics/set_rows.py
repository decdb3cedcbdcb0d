"""Turn what stood on the bench into packs: where each job's pack stood, and which pack it would have needed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import polars as pl

from analytics.learned_responses import LOADED, Response, drag_without_preload, gear_set_theory, says_something

_STATE = ("job", "place")


def in_pack_terms(
    states: pl.DataFrame,
    visits: pl.DataFrame,
    responses: Iterable[Response],
    drags: Mapping[tuple[str, str], float] | None = None,
) -> pl.DataFrame:
    """Return bench states with readings turned into micrometres of pack, the unit in which packs are chosen.

    Added columns: `rise` (change of the reading per um of pack, above zero; null where not known), `needs` (um): the
    pack that would have put this reading on its own target; `dimension` (um): what the unit itself brings, free of
    pack and target, so that the pack for any target is sign x target / rise - dimension; `aim`, `aim_low`,
    `aim_high` (um): sign x target, limit nearer to a thin pack, limit nearer to a thick one, each over `rise`.
    A depth or an end float moves by a micrometre for each of the pack, by geometry. A ring shift takes the response
    learned, else that of its gear set's angles. A torque takes the response learned for make and condition of the
    bearing, else of its condition, else of the place; where it is still loose the end play stands for it. `drags` is
    the torque without preload per family and place, learned from `states` unless given.
    """
    drags = drag_without_preload(states) if drags is None else drags
    drag = pl.DataFrame(
        [(family, place, value) for (family, place), value in drags.items()],
        schema={"family": pl.String, "place": pl.String, "drag": pl.Float64}, orient="row",
    )  # fmt: skip
    frame = (
        _with_rise(states, visits, tuple(responses))
        .join(drag, on=["family", "place"], how="left", maintain_order="left")
        .with_columns(pl.col("drag").fill_null(0.0))
    )
    torque = pl.col("quantity").str.ends_with("torque")
    base = pl.when(torque).then(pl.col("drag")).otherwise(0.0)

    def scaled(value: pl.Expr) -> pl.Expr:
        return pl.col("sign") * (value - base) / pl.col("rise")

    loose = torque & (pl.col("end_play") > 0)
    silent = torque & (pl.col("reading") <= LOADED * pl.col("drag"))
    level = (
        pl.when(loose).then(-pl.col("sign") * pl.col("end_play"))
        .when(silent | ~says_something(pl.col("reading"), pl.col("quantity"))).then(None)
        .otherwise(scaled(pl.col("reading")))
    )  # fmt: skip
    up = pl.col("sign") > 0
    frame = frame.with_columns(
        (level - pl.col("pack")).alias("dimension"),
        scaled(pl.col("target")).alias("aim"),
        scaled(pl.when(up).then(pl.col("lower")).otherwise(pl.col("upper"))).alias("aim_low"),
        scaled(pl.when(up).then(pl.col("upper")).otherwise(pl.col("lower"))).alias("aim_high"),
    )
    return frame.with_columns((pl.col("aim") - pl.col("dimension")).alias("needs"))


def _with_rise(states: pl.DataFrame, visits: pl.DataFrame, responses: tuple[Response, ...]) -> pl.DataFrame:
    told = pl.DataFrame(
        [(r.family, r.place, r.make, r.bearing, abs(r.slope.estimate)) for r in responses if r.slope is not None],
        schema={"family": pl.String, "place": pl.String, "make": pl.String, "bearing": pl.String, "rise": pl.Float64},
        orient="row",
    )
    keys = ["family", "place"]
    overall = told.filter(pl.col("make").is_null() & pl.col("bearing").is_null()).drop("make", "bearing")
    by_bearing = told.filter(pl.col("make").is_null() & pl.col("bearing").is_not_null()).drop("make")
    by_make = told.filter(pl.col("make").is_not_null())
    frame = (
        states.join(gear_set_theory(visits), on="job", how="left", maintain_order="left")
        .join(overall, on=keys, how="left", maintain_order="left")
        .join(by_bearing, on=[*keys, "bearing"], how="left", maintain_order="left", suffix="_of_bearing")
        .join(by_make, on=[*keys, "bearing", "make"], how="left", maintain_order="left", suffix="_of_make")
    )
    hypoid = pl.col("tooth_form").eq_missing("hypoid")
    geometry = (
        pl.when(pl.col("coordinate") == "shift")
        .then(pl.when(hypoid).then(pl.coalesce("rise", "theory")).otherwise(pl.coalesce("theory", "rise")))
        .otherwise(1.0)
    )
    torque = pl.col("quantity").str.ends_with("torque")
    return frame.with_columns(
        pl.when(torque).then(pl.coalesce("rise_of_make", "rise_of_bearing", "rise")).otherwise(geometry).alias("rise")
    ).drop("rise_of_bearing", "rise_of_make", "theory", "tooth_form")


def set_rows(states: pl.DataFrame, visits: pl.DataFrame) -> pl.DataFrame:
    """Return one row per job and place that was set, in order of becoming known.

    `states` from `in_pack_terms`. Columns: those of the visit; place, coordinate, quantity, sign, rise; found_pack,
    found_reading, found_dimension, found_make; first_pack, first_reading, first_needs; built_pack, built_reading;
    dimension (mean over the trials: as-built readings alone are chosen by acceptance); make, bearing, target, lower,
    upper, aim, aim_low, aim_high, instrument, trials, known_on. Lengths in um, torques in mN.m.
    """
    found = states.filter(pl.col("stage") == "as_found").select(
        *_STATE, pl.col("pack").alias("found_pack"), pl.col("reading").alias("found_reading"),
        pl.col("dimension").alias("found_dimension"), pl.col("make").alias("found_make"),
        pl.col("instrument").alias("found_instrument"),
    )  # fmt: skip
    tried = states.filter(pl.col("stage") == "trial")
    first = (
        tried.sort("job", "place", "trial")
        .group_by(_STATE, maintain_order=True)
        .agg(
            pl.col("pack").first().alias("first_pack"), pl.col("reading").first().alias("first_reading"),
            pl.col("needs").first().alias("first_needs"), pl.col("dimension").mean().alias("tried_dimension"),
            pl.col("trial").max().alias("trials"),
        )
    )  # fmt: skip
    built = states.filter(pl.col("stage") == "as_built").select(
        *_STATE, "family", "coordinate", "location", "other", "quantity", "sign", "rise", "make", "bearing", "target",
        "lower", "upper", "aim", "aim_low", "aim_high", "instrument", "known_on", pl.col("pack").alias("built_pack"),
        pl.col("reading").alias("built_reading"), pl.col("dimension").alias("built_dimension"),
    )  # fmt: skip
    return (
        built.join(first, on=_STATE, how="left", maintain_order="left")
        .join(found, on=_STATE, how="left", maintain_order="left")
        .join(visits.drop("family"), on="job", how="inner", maintain_order="left")
        .with_columns(pl.coalesce("tried_dimension", "built_dimension").alias("dimension"))
        .sort("known_on", "job", "place", nulls_last=True)
    )
