"""Follow component lives on the units that a register lists, whether they ever came in or not."""

from __future__ import annotations

import datetime as dt
from typing import Any

import polars as pl

from analytics.history import History
from analytics.life_clock import KM, LifeClock
from analytics.register_stretches import Stretch, register_stretches
from analytics.scope import PRIVATE_OWNERS, Scope

FROM_NEW = -1  # stands for the job that fitted what was there from new
_LONG_AGO = -1_000_000

_BEGUN = """
with listed as (
  select unit_id from known_unit where register_entry <= $as_of
  union
  select u.unit_id from known_fitting as f join known_unit as u using (unit) where f.listed is not null
)
select l.unit_id, l.position_id, l.job_id as started_by, l.renews as origin, v.opened, k.clock_group, k.clock_at,
  k.next_group, k.next_at
from known_life_inspection as l
join listed using (unit_id)
join known_visit as v using (job_id)
join known_visit_clock as k on k.job_id = l.job_id and k.clock = '$clock'
where l.renews is not null
order by all
"""
_LOOKS = """
with listed as (
  select unit_id from known_unit where register_entry <= $as_of
  union
  select u.unit_id from known_fitting as f join known_unit as u using (unit) where f.listed is not null
)
select l.unit_id, l.position_id, coalesce(l.started_by, -1) as started_by, l.job_id, l.state, l.age, l.good_age,
  l.since_age, coalesce(l.since_exact, false) as since_exact, coalesce(l.estimated, false) as estimated,
  coalesce(l.named_failed, false) as named_failed, l.from_habit, v.opened, l.why_not
from known_life_inspection as l
join listed using (unit_id)
join known_visit as v using (job_id)
where (l.why_not is null and l.superseded_on is null) or l.why_not = 'opened_by_others'
order by all
"""
_PARTS = """
select job_id as started_by, position_id, min(supplier) as supplier, min(maker) as maker
from known_part_line semi join begun on started_by = job_id
where fitted and (supplier is not null or maker is not null)
group by all
"""


def register_lives(
    history: History, parts: bool = False, stretches: list[Stretch] | None = None, clock: LifeClock = KM
) -> tuple[pl.DataFrame, dict[str, int]]:
    """Return one row per life followed by a register, ages in km (or hours), and why others were left out.

    Columns as in component_lives.Lives. `stretches` are those of the same history where they are at hand.
    """
    stretches = register_stretches(history, clock) if stretches is None else stretches
    if not stretches:
        return pl.DataFrame(schema=_SCHEMA), {}
    begun = _begun(history, stretches, clock)
    placed, left_out = _placed(begun, stretches)
    told, more = _told(placed, *_looks(history, clock), clock)
    if parts:
        found = history.query(_PARTS, frames={"begun": told.select("started_by").unique()})
        told = told.join(found, on=["started_by", "position_id"], how="left", maintain_order="left")
    else:
        told = told.with_columns(pl.lit(None, dtype=pl.String).alias(name) for name in ("supplier", "maker"))
    told = told.with_columns(
        pl.when(pl.col("started_by") != FROM_NEW).then("started_by").alias("started_by"),
    ).sort("unit_id", "position_id", "start_day")
    return _within(told, history.scope), left_out | more


def lives_of_unknown_age(history: History, stretches: list[Stretch], clock: LifeClock = KM) -> pl.DataFrame:
    """Return between which distances of their units parts of unknown age were followed, and whether they ended worn.

    One row per position that held such a part when its unit was first followed on its own clock: component, family,
    duty, from_km, to_km, worn. Where a visit ended it, the distance is that share of the stretch's which the days to
    the visit are of its days.
    """
    first: dict[int, Stretch] = {}
    for stretch in stretches:
        first.setdefault(stretch.unit_id, stretch)
    table = pl.DataFrame(
        [
            (s.unit_id, s.duty, s.from_day, s.to_day, s.from_at / clock.per_unit, s.to_at / clock.per_unit)
            for s in first.values()
            if s.group == 0
        ],
        schema={"unit_id": pl.Int32, "duty": pl.String, "from_day": pl.Int64, "to_day": pl.Int64,
                "from_km": pl.Float64, "end_km": pl.Float64}, orient="row",
    )  # fmt: skip
    begun = _begun(history, stretches, clock).filter(
        (pl.col("started_by") == FROM_NEW) & (pl.col("origin") == "not_known")
    )
    ends = history.query(
        f"""
        select l.unit_id, l.position_id, l.job_id as ended_by, v.opened, l.state in ('cause', 'failed') as worn
        from {clock.mart} as l join known_visit as v using (job_id) where l.renews is not null order by all
        """
    ).with_columns((pl.col("opened") - dt.date(1970, 1, 1)).dt.total_days().alias("end_day"))
    told = begun.join(table, on="unit_id").join(
        ends, on=["unit_id", "position_id", "ended_by"], how="left", maintain_order="left"
    )
    until = pl.min_horizontal("to_day", "end_day")
    share = (until - pl.col("from_day")) / (pl.col("to_day") - pl.col("from_day"))
    return told.filter((pl.col("to_day") > pl.col("from_day")) & (until > pl.col("from_day"))).select(
        "component",
        "family",
        "duty",
        "from_km",
        (pl.col("from_km") + (pl.col("end_km") - pl.col("from_km")) * share).alias("to_km"),
        (pl.col("worn").fill_null(value=False) & (pl.col("end_day") <= pl.col("to_day")).fill_null(value=False)).alias(
            "worn"
        ),
    )


def _begun(history: History, stretches: list[Stretch], clock: LifeClock) -> pl.DataFrame:
    """Return every life of a followed unit with where it begins on its clocks, and the job that ended it."""
    units = pl.DataFrame({"unit_id": sorted({s.unit_id for s in stretches})}, schema={"unit_id": pl.Int32})
    known = history.query(
        "select unit_id, unit, family, coalesce(lives_known_from_new, false) and in_service_since is not null "
        "as from_new from known_unit order by unit_id"
    ).join(units, on="unit_id", how="semi")
    positions = history.query(
        "select family, position_id, position, component from known_position order by position_id"
    )
    seats = known.join(positions, on="family").select(
        "unit_id", "unit", "family", "position_id", "position", "component", "from_new"
    )
    first = seats.with_columns(
        pl.lit(FROM_NEW, dtype=pl.Int32).alias("started_by"),
        pl.when("from_new").then(pl.lit("from_new")).otherwise(pl.lit("not_known")).alias("origin"),
        pl.lit(None, dtype=pl.Date).alias("opened"),
        pl.lit(0, dtype=pl.Int32).alias("clock_group"),
        pl.lit(0, dtype=pl.Int64).alias("clock_at"),
        pl.lit(None, dtype=pl.Int32).alias("next_group"),
        pl.lit(None, dtype=pl.Int64).alias("next_at"),
    ).drop("from_new")
    later = (
        history.query(_BEGUN.replace(KM.mart, clock.mart).replace("$clock", clock.name))
        .join(seats.drop("from_new"), on=["unit_id", "position_id"])
        .select(first.columns)
    )
    lives = pl.concat([first, later]).with_columns(
        (pl.col("opened") - dt.date(1970, 1, 1)).dt.total_days().fill_null(_LONG_AGO).alias("start_day")
    )
    order = ["unit_id", "position_id", "start_day", "started_by"]
    return lives.sort(order).with_columns(
        pl.col("started_by").shift(-1).over("unit_id", "position_id").alias("ended_by")
    )


def _placed(begun: pl.DataFrame, stretches: list[Stretch]) -> tuple[pl.DataFrame, dict[str, int]]:
    """Return lives on the stretch that follows them: entry, end and drawn ends in metres of age."""
    schema: dict[str, Any] = {
        "unit_id": pl.Int32, "fleet": pl.String, "duty": pl.String, "group": pl.Int32, "from_day": pl.Int64,
        "to_day": pl.Int64, "from_at": pl.Float64, "to_at": pl.Float64, "draws_at": pl.List(pl.Float64),
    }  # fmt: skip
    table = pl.DataFrame(
        [
            (s.unit_id, s.fleet, s.duty, s.group, s.from_day, s.to_day, s.from_at, s.to_at, list(s.draws))
            for s in stretches
        ],
        schema=schema, orient="row",
    )  # fmt: skip
    known = begun.filter(~pl.col("origin").is_in(["not_known"]))
    unknown = begun.filter(pl.col("origin") == "not_known")
    both = (
        known.with_row_index("life")
        .join(table, on="unit_id")
        .filter(pl.col("to_day") > pl.col("start_day"))
        .sort("life", "from_day")
        .group_by("life", maintain_order=True)
        .first()
    )
    start = (
        pl.when(pl.col("group") == pl.col("clock_group")).then("clock_at")
        .when(pl.col("group") == pl.col("next_group")).then("next_at")
    )  # fmt: skip
    both = both.with_columns(start.cast(pl.Float64).alias("start_at"))
    off = both["start_at"].null_count()
    both = both.filter(pl.col("start_at").is_not_null()).with_columns(
        pl.when(pl.col("from_day") > pl.col("start_day"))
        .then((pl.col("from_at") - pl.col("start_at")).clip(0))
        .otherwise(0.0)
        .alias("entry"),
        (pl.col("to_at") - pl.col("start_at")).alias("end"),
        (pl.col("draws_at") - pl.col("start_at")).alias("draws"),
    )
    left_out = {
        "origin_unknown": unknown.filter(pl.col("started_by") == FROM_NEW).height,
        "part_of_unknown_age": unknown.filter(pl.col("started_by") != FROM_NEW).height,
        "distance_at_start_unknown": off,
        "not_followed": known.height - both.height - off,
    }
    return both, left_out


def _looks(history: History, clock: LifeClock) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Return the last look at each life, and the day on which a look showed that others had opened the unit."""
    looks = history.query(_LOOKS.replace(KM.mart, clock.mart)).with_columns(
        (pl.col("opened") - dt.date(1970, 1, 1)).dt.total_days().alias("look_day")
    )
    others = (
        looks.filter(pl.col("why_not").is_not_null())
        .group_by("unit_id", "position_id", "started_by")
        .agg(pl.col("look_day").min().alias("others_seen"))
    )
    return looks.filter(pl.col("why_not").is_null()).drop("why_not", "opened"), others


def _told(
    placed: pl.DataFrame, looks: pl.DataFrame, others: pl.DataFrame, clock: LifeClock
) -> tuple[pl.DataFrame, dict[str, int]]:
    """Return what is known of each placed life, ages in the clock's unit, and why some tell nothing."""
    keys = ["unit_id", "position_id", "started_by"]
    lives = placed.join(looks, on=keys, how="left", maintain_order="left").join(
        others, on=keys, how="left", maintain_order="left"
    )
    followed = pl.col("look_day") <= pl.col("to_day")
    failed = followed & pl.col("state").is_in(["cause", "failed"])
    ended_here = followed & (pl.col("ended_by") == pl.col("job_id"))
    ended_unseen = pl.col("ended_by").is_not_null() & ~(pl.col("ended_by") == pl.col("job_id")).fill_null(value=False)
    # Ended on a later day than the register follows: then the register's end is what is known.
    good = pl.when(pl.col("state") == "good").then("age").otherwise("good_age").cast(pl.Float64)
    since = (
        pl.when(pl.col("since_age") < pl.col("age"))
        .then(pl.max_horizontal("good_age", "since_age"))
        .otherwise("good_age")
    )
    exact = failed & pl.col("since_exact") & (pl.col("since_age") >= pl.col("good_age")) & (pl.col("since_age") > 0)
    lower = (
        pl.when(exact).then(pl.col("since_age").cast(pl.Float64))
        .when(failed).then(since.cast(pl.Float64))
        .when(ended_here | ended_unseen).then(good.fill_null(0.0))
        .otherwise(pl.max_horizontal("end", good))
    )  # fmt: skip
    upper = pl.when(exact).then(pl.col("since_age").cast(pl.Float64)).when(failed).then(pl.col("age").cast(pl.Float64))
    running = ~failed.fill_null(value=False) & ~ended_here.fill_null(value=False) & ~ended_unseen
    per = clock.per_unit
    lives = lives.with_columns(
        (lower / per).alias("lower"), (upper / per).alias("upper"), (pl.col("entry") / per).alias("entry"),
        pl.when(running).then(pl.col("draws") / per).alias("draws"),
        pl.when(running & (pl.col("end") > 0)).then(pl.col("draws").list.std() / pl.col("end")).alias("end_error"),
        pl.when(running).then(None).otherwise("job_id").alias("job_id"),
        running.alias("running"), ended_unseen.alias("ended_unseen"),
        (pl.col("others_seen") <= pl.col("to_day")).fill_null(value=False).alias("by_others"),
    )  # fmt: skip
    early = pl.col("upper").is_not_null() & (pl.col("upper") <= pl.col("entry"))
    silent = pl.col("upper").is_null() & (pl.col("lower") <= pl.col("entry"))
    nothing = pl.col("upper") <= 0
    reason = (
        pl.when("by_others").then(pl.lit("opened_by_others"))
        .when(early & (pl.col("entry") > 0)).then(pl.lit("failed_before_entry"))
        .when(silent & pl.col("ended_unseen")).then(pl.lit("renewed_unseen"))
        .when(silent | nothing).then(pl.lit("no_distance"))
    )  # fmt: skip
    lives = lives.with_columns(reason.alias("why_not"))
    counts = dict(lives.filter(pl.col("why_not").is_not_null()).group_by("why_not").len().sort("why_not").iter_rows())
    kind = (
        pl.when(pl.col("upper").is_null()).then(pl.lit("right"))
        .when(pl.col("lower") == pl.col("upper")).then(pl.lit("exact"))
        .when(pl.max_horizontal("lower", "entry") > 0).then(pl.lit("interval"))
        .otherwise(pl.lit("left"))
    )  # fmt: skip
    kept = lives.filter(pl.col("why_not").is_null()).select(
        "unit", "unit_id", "job_id", "started_by", "origin", "family", "position", "position_id", "component", "duty",
        "fleet", "lower", "upper", "entry", kind.alias("kind"), "draws",
        "end_error",
        pl.col("estimated").fill_null(value=False), pl.col("named_failed").fill_null(value=False),
        pl.col("from_habit").fill_null(value=False), "start_day",
    )  # fmt: skip
    return kept, {str(k): int(v) for k, v in counts.items()}


def _within(lives: pl.DataFrame, scope: Scope) -> pl.DataFrame:
    """Return the lives in the scope; a unit's fleet and duty are those of the vehicle it was last followed in."""
    for name in ("family", "component", "position", "duty", "supplier", "fleet"):
        value = getattr(scope, name)
        if value is not None:
            lives = lives.filter(pl.lit(False) if value == PRIVATE_OWNERS else pl.col(name) == value)
    return lives


_SCHEMA: dict[str, Any] = {
    "unit": pl.String, "unit_id": pl.Int32, "job_id": pl.Int32, "started_by": pl.Int32, "origin": pl.String,
    "family": pl.String, "position": pl.String, "position_id": pl.Int32, "component": pl.String, "duty": pl.String,
    "fleet": pl.String, "lower": pl.Float64, "upper": pl.Float64, "entry": pl.Float64, "kind": pl.String,
    "draws": pl.List(pl.Float64), "end_error": pl.Float64, "estimated": pl.Boolean, "named_failed": pl.Boolean,
    "from_habit": pl.Boolean, "start_day": pl.Int64, "supplier": pl.String, "maker": pl.String,
}  # fmt: skip
