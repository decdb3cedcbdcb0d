"""Gather what the watch charts run on: comebacks, supplier lots and findings, by the day they became known."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
import polars as pl

from analytics.comeback_observations import observed_ctes
from analytics.estimators.arrays import FloatArray, IntArray
from analytics.history import History
from analytics.scope_sql import conditions
from analytics.watch_streams import Streams, lay_out, month_number, time_of

MINIMUM_PIECES = 8  # a lot of fewer pieces could not raise an alarm in time to matter
COMEBACK_RATIO, LOT_RATIO, FINDING_RATIO = 3.0, 5.0, 2.0
NO_MODE = "not written down"
AGES = (1, 3, 6, 12, 25)  # months of age up to which ordinary hazard is taken as level
_BANDS_KM = (80, 160, 240, 320)

_SEEN = """seen as materialized (  -- one row per delivered job and stretch of observation, which a comeback ends
  select job_id, unit_id, family, reported <= end_observed as came_back, first_position, first_mode, first_known,
    (year(delivered) - year($first)) * 12 + month(delivered) - month($first) as start,
    greatest(ceil((least(end_observed, reported) - delivered) / 30.4375), 1)::integer as lasting
  from observed where end_observed >= delivered
)"""

_KINDS = """kinds as (  -- one row per kind of component, with its number
  select component, (dense_rank() over (order by component) - 1)::integer as code
  from (select distinct component from known_position where component is not null)
)"""


def first_day(history: History) -> dt.date | None:
    """Return the first day of the month in which the first job was opened, None where there is none."""
    found = history.query("select min(opened) as day from known_job")["day"][0]
    return found.replace(day=1) if found is not None else None


def every_stream(history: History, first: dt.date) -> tuple[Streams, Streams, Streams]:
    """Return the charts of comebacks, of lots and of findings."""
    told = delivered_evidence(history, first)
    return comeback_streams(history, first, told), lot_streams(history, first, told), finding_streams(history, first)


def delivered_evidence(history: History, first: dt.date) -> pl.DataFrame:
    """Return cohorts and comebacks of delivered jobs, by family and by lot, all in one asking.

    In no order. Columns: what (family, lot, or comeback of either), a to d (names: family, component, damage mode; or component,
    supplier, part, lot), start (month of delivery) and lasting (months observed), n; day, job and unit_id of a comeback.
    """
    ctes, values = observed_ctes(history.scope)
    return history.query(
        f"""with {ctes}, {_SEEN}
        select 'family' as what, family as a, null as b, null as c, null as d, start, lasting, count(*)::double as n,
          null::date as day, null as job, null as unit_id
        from seen group by all
        union all
        select 'lot', c.component, coalesce(p.supplier, ''), p.part, p.lot, s.start, s.lasting, count(*)::double, null, null,
          null
        from seen as s join known_part_line as p using (job_id) join known_position as c using (position_id)
        where p.fitted and p.lot is not null group by all
        union all
        select 'family comeback', s.family, p.component, coalesce(s.first_mode, '{NO_MODE}'), null, s.start, s.lasting, 1.0,
          s.first_known, j.job, s.unit_id
        from seen as s join known_job as j using (job_id)
        join known_position as p on p.family = s.family and p.position = s.first_position
        where s.came_back and s.first_known <= $as_of
        union all
        select 'lot comeback', c.component, coalesce(p.supplier, ''), p.part, p.lot, s.start, s.lasting, 1.0, s.first_known,
          j.job, null
        from seen as s join known_job as j using (job_id) join known_part_line as p using (job_id)
        join known_position as c using (position_id)
        where p.fitted and p.lot is not null and s.came_back and s.first_position = c.position
          and s.first_known <= $as_of""",
        {**values, "first": first},
    )


def comeback_streams(history: History, first: dt.date, told: pl.DataFrame) -> Streams:
    """Return one chart per family, component and damage mode of comebacks; a unit counts once a chart.

    told: what `delivered_evidence` gives.
    """
    cohorts = told.filter(pl.col("what") == "family").rename({"a": "family"}).sort("family", "start", "lasting")
    events = told.filter(pl.col("what") == "family comeback").rename(
        {"a": "family", "b": "component", "c": "damage_mode"}
    )
    events = events.sort("day", "job").unique(
        ["unit_id", "component", "damage_mode"], keep="first", maintain_order=True
    )
    labels = _every_kind(history, events)
    families = cohorts["family"].unique().sort().to_list()
    laid = _laid(history, first, cohorts, cohorts["family"], families, _ages(cohorts, events))
    exposure = laid[[families.index(name) for name in labels["family"].to_list()]] if labels.height else laid[:0]
    return _streams(
        "comebacks", first, labels, ["component", "damage_mode"], exposure, None, events, own=True, ratio=COMEBACK_RATIO
    )


def lot_streams(history: History, first: dt.date, told: pl.DataFrame) -> Streams:
    """Return one chart per supplier's lot of a part of which enough pieces were fitted; told as above."""
    names = ["component", "supplier", "part", "lot"]
    named = dict(zip("abcd", names, strict=True))
    cohorts = told.filter(pl.col("what") == "lot").rename(named)
    labels = cohorts.group_by(names).agg(pl.col("n").sum().alias("fitted"))
    labels = labels.filter(pl.col("fitted") >= MINIMUM_PIECES).sort(names)
    coded = labels.with_row_index("code")
    cohorts = cohorts.join(coded, on=names).sort("code", "start", "lasting")
    events = (
        told.filter(pl.col("what") == "lot comeback").rename(named).join(labels.select(names), on=names, how="semi")
    )
    exposure = _laid(history, first, cohorts, cohorts["code"], list(range(labels.height)), _ages(cohorts, events))
    return _streams("lots", first, labels, ["component"], exposure, None, events, own=False, ratio=LOT_RATIO)


def finding_streams(history: History, first: dt.date) -> Streams:
    """Return one chart per family, component and damage mode found in full strips, adjusted for the distance run."""
    where, values = conditions(
        history.scope,
        {"family": "family", "component": "component", "position": "position", "technician": "technician",
         "fleet": "fleet", "duty": "duty", "kind": "job_kind"},
        "opened",
    )  # fmt: skip
    when = " ".join(f"when metres < {km}000000 then {place}" for place, km in enumerate(_BANDS_KM))
    band = f"case when metres is null then {len(_BANDS_KM) + 1} {when} else {len(_BANDS_KM)} end"
    start = "(year(day) - year($first)) * 12 + month(day) - month($first)"
    looked = f"""{_KINDS},
    looked as (  -- one row per position looked at in a full strip
      select f.job_id, f.job, f.family, f.component, k.code, f.failed, f.damage_mode, f.known_on as day,
        coalesce(f.unit_distance_m, f.odometer_m) as metres
      from known_component_finding as f join kinds as k using (component)
      where f.full_strip and f.failed is not null and {where}
    )"""
    values = {**values, "first": first}
    # One row per strip with its components as bits, so that a strip costs one group and not one for each component.
    strips = history.query(
        f"""with {looked}, strip as (
          select job_id, any_value(family) as family, max(day) as day, any_value(metres) as metres,
            bit_or(1::bigint << code) as bits from looked group by job_id
        )
        select family, bits, {band} as band, {start} as start, count(*)::double as n from strip group by all order by all""",
        values,
    )
    names = history.query(f"with {_KINDS} select component, code from kinds order by code")
    cases = (
        strips.join(names, how="cross")
        .filter((pl.col("bits") // 2 ** pl.col("code").cast(pl.Int64)) % 2 == 1)
        .group_by("family", "component", "band", "start").agg(pl.col("n").sum())
        .sort("family", "component", "band", "start")
    )  # fmt: skip
    events = history.query(
        f"""with {looked}, bad as (
          select distinct job_id, job, family, component, coalesce(damage_mode, '{NO_MODE}') as damage_mode, day, metres
          from looked where failed
        )
        select job, family, component, damage_mode, day, {band} as band from bad order by all""",
        {name: value for name, value in values.items() if name != "first"},
    )
    labels = _every_kind(history, events)
    exposure, counted = _weighed(history, first, labels, cases, events)
    return _streams(
        "findings", first, labels, ["component", "damage_mode"], exposure, counted, events, own=True,
        ratio=FINDING_RATIO,
    )  # fmt: skip


def _every_kind(history: History, events: pl.DataFrame) -> pl.DataFrame:
    """Return one row per family, component it has, and damage mode ever seen on such a component."""
    modes = events.select("component", "damage_mode").unique()
    places = history.query("select distinct family, component from known_position")
    if history.scope.family is not None:
        places = places.filter(pl.col("family") == history.scope.family)
    names = ["family", "component", "damage_mode"]
    seen = events.select(names).unique()
    return pl.concat([places.join(modes, on="component").select(names), seen]).unique().sort(names)


def _ages(cohorts: pl.DataFrame, events: pl.DataFrame) -> FloatArray:
    """Return the share of all comebacks that each month of age brings, taken as level within the bands of `AGES`."""
    lasting = np.bincount(cohorts["lasting"].to_numpy(), cohorts["n"].to_numpy(), AGES[-1] + 2)
    alive = np.cumsum(lasting[::-1])[::-1][1 : AGES[-1] + 1]
    back = np.bincount(np.minimum(events["lasting"].to_numpy(), AGES[-1]), minlength=AGES[-1] + 1)[1:]
    hazard = np.zeros(AGES[-1])
    low = 0
    for high in AGES:
        hazard[low:high] = (back[low:high].sum() + 0.5) / max(float(alive[low:high].sum()), 1.0)
        low = high
    return np.asarray(hazard / hazard[0], dtype=np.float64)


def _laid(
    history: History, first: dt.date, cohorts: pl.DataFrame, names: pl.Series, every: list[Any], weight: FloatArray
) -> FloatArray:
    months = month_number(first, history.as_of) + 1
    code = names.replace_strict({name: place for place, name in enumerate(every)}, return_dtype=pl.Int64)
    start, lasting = (cohorts[name].cast(pl.Int64).to_numpy() for name in ("start", "lasting"))
    return lay_out(months, code.to_numpy(), start, lasting, cohorts["n"].to_numpy(), weight, len(every))


def _weighed(
    history: History, first: dt.date, labels: pl.DataFrame, cases: pl.DataFrame, events: pl.DataFrame
) -> tuple[FloatArray, FloatArray]:
    """Return (charts, months) inspections, each weighed by how often its distance brings that damage, and plain."""
    months = month_number(first, history.as_of) + 1
    kind = ["component", "damage_mode"]
    by_band = cases.group_by("component", "band").agg(pl.col("n").sum())
    found = events.group_by(*kind, "band").agg(pl.len().alias("x"))
    weights = (
        labels.select(kind).unique().join(by_band, on="component").join(found, on=[*kind, "band"], how="left")
        .with_columns(pl.col("x").fill_null(0))
        .with_columns((pl.col("x").sum() / pl.col("n").sum()).over(kind).alias("p"))
        .with_columns(((pl.col("x") + 5 * pl.col("p")) / (pl.col("n") + 5) / pl.col("p")).alias("w"))
    )  # fmt: skip
    numbered = labels.with_row_index("code")
    laid = cases.join(numbered, on=["family", "component"]).join(
        weights.select(*kind, "band", "w"), on=[*kind, "band"]
    ).sort("code", "start", "band")  # fmt: skip
    place = laid["code"].cast(pl.Int64).to_numpy() * months + laid["start"].cast(pl.Int64).to_numpy()
    size = labels.height * months
    shape = (labels.height, months)
    n, w = laid["n"].to_numpy(), laid["w"].fill_nan(0.0).to_numpy()
    weighed, plain = (np.asarray(np.bincount(place, x, size), np.float64).reshape(shape) for x in (n * w, n))
    return weighed, plain


def _streams(
    kind: str, first: dt.date, labels: pl.DataFrame, pool: list[str], exposure: FloatArray, cases: FloatArray | None,
    events: pl.DataFrame, own: bool, ratio: float,
) -> Streams:  # fmt: skip
    names = [name for name in labels.columns if name != "fitted"]
    coded = events.join(labels.select(names).with_row_index("code"), on=names).sort("code", "day", "job")
    pools: IntArray = labels.select(pl.struct(pool).rank("dense").cast(pl.Int64) - 1).to_series().to_numpy()
    return Streams(
        kind, first, labels, pools, exposure, cases, coded["code"].cast(pl.Int64).to_numpy(),
        time_of(first, coded["day"]), tuple(coded["job"].to_list()), own, ratio,
    )  # fmt: skip
