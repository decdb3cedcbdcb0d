"""Gather what the watch charts run on: comebacks, supplier lots and findings, by the day they became known."""

from __future__ import annotations

import datetime as dt
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import Any

import numpy as np
import polars as pl

from analytics.comeback_observations import DAYS_PER_MONTH, comeback_observations
from analytics.component_kinds import KINDS
from analytics.estimators.arrays import FloatArray, IntArray
from analytics.history import History
from analytics.scope import Scope
from analytics.scope_sql import conditions
from analytics.watch_streams import DAYS_TOLD, Streams, from_first_exposure, in_order, lay_out, month_number, time_of

MINIMUM_PIECES = 8  # a lot of fewer pieces could not raise an alarm in time to matter
COMEBACK_RATIO, LOT_RATIO, FINDING_RATIO = 3.0, 5.0, 2.0
NO_MODE = "not written down"
_SPAN = 64  # more months than any job is observed
AGES = (1, 3, 6, 12, 25)  # months of age up to which ordinary hazard is taken as level
_BANDS_KM = (80, 160, 240, 320)
_NAMES = ["family", "component", "damage_mode"]

OBSERVED = ("reported", "first_position", "first_mode", "first_known", "end_observed")


def first_day(history: History) -> dt.date | None:
    """Return the first day of the month in which the first job was opened, None where there is none."""
    found = history.query("select min(opened) as day from known_job")["day"][0]
    return found.replace(day=1) if found is not None else None


def every_stream(
    history: History, first: dt.date, jobs: pl.DataFrame | None = None
) -> tuple[Streams, Streams, Streams]:
    """Return the charts of comebacks, of lots and of findings; jobs: what `watched_jobs` gives, where it is at hand."""
    # Findings are gathered beside the rest: neither waits for the other, and much of either keeps one core busy only.
    with ThreadPoolExecutor(1) as beside:
        findings = beside.submit(finding_streams, history, first)
        seen = _stretches(watched_jobs(history) if jobs is None else jobs, first)
        back = family_comebacks(history, seen)
        comebacks, lots = comeback_streams(history, first, seen, back), lot_streams(history, first, seen, back)
        return from_first_exposure(comebacks), from_first_exposure(lots), from_first_exposure(findings.result())


def watched_jobs(history: History, names: tuple[str, ...] = ()) -> pl.DataFrame:
    """Return one row per delivered job with its first comeback, in no order; names: texts that others want of it."""
    return comeback_observations(history, names=("family", *names), columns=OBSERVED, ordered=False)


def _stretches(jobs: pl.DataFrame, first: dt.date) -> pl.DataFrame:
    """Return one row per job and stretch of observation, which a comeback ends.

    Columns: job_id, unit_id, family, start (month of delivery), lasting (months observed), position, mode and known (day)
    of the comeback that ended it, NULL where none did.
    """
    seen = jobs.lazy().filter(pl.col("end_observed") >= pl.col("delivered"))
    delivered, back = pl.col("delivered"), pl.col("reported") <= pl.col("end_observed")
    start = (delivered.dt.year().cast(pl.Int32) - first.year) * 12 + delivered.dt.month().cast(pl.Int32) - first.month
    days = (pl.min_horizontal("end_observed", "reported") - delivered).dt.total_days()
    lasting = (days / DAYS_PER_MONTH).ceil().cast(pl.Int32).clip(1)
    ended = {name: pl.when(back).then(pl.col(f"first_{name}")).alias(name) for name in ("position", "mode", "known")}
    return seen.select("job_id", "unit_id", "family", start.alias("start"), lasting.alias("lasting"), **ended).collect()


def family_comebacks(history: History, seen: pl.DataFrame) -> pl.DataFrame:
    """Return one row per comeback with a known position: family, component, damage_mode, lasting, day, job_id, unit_id,
    position_id.
    """
    back = seen.filter(pl.col("known") <= history.as_of, pl.col("position").is_not_null())
    return history.query(
        f"""select s.family, p.component, coalesce(s.mode, '{NO_MODE}') as damage_mode, s.lasting, s.known as day,
          s.job_id, s.unit_id, p.position_id
        from watched as s join known_position as p on p.family = s.family and p.position = s.position""",
        frames={"watched": back},
    )


def _lots(history: History) -> pl.DataFrame:
    """Return one row per lot: component, supplier, part, lot, and lists with the job_id and position_id of each piece."""
    # Pieces are listed by lot, so that its words are read and told once and not with each of millions of pieces.
    return history.query(
        f"""with {KINDS}, place as (select position_id, code from known_position join kinds using (component)),
        lots as (
          select c.code, p.supplier, p.part, p.lot, list(p.job_id) as job_id, list(p.position_id) as position_id
          from known_part_line as p join place as c using (position_id) where p.fitted and p.lot is not null
          group by c.code, p.supplier, p.part, p.lot having count(*) >= {MINIMUM_PIECES}
        )
        select k.component, coalesce(supplier, '') as supplier, part, lot, job_id, position_id
        from lots join kinds as k using (code)"""
    )


def comeback_streams(history: History, first: dt.date, seen: pl.DataFrame, back: pl.DataFrame) -> Streams:
    """Return one chart per family, component and damage mode of comebacks; a unit counts once a chart.

    seen: stretches of observation (`_stretches`); back: those of them that ended in a comeback (`family_comebacks`).
    """
    cohorts = seen.group_by("family", "start", "lasting").agg(pl.len().cast(pl.Float64).alias("n"))
    cohorts = cohorts.sort("family", "start", "lasting")
    events = back.sort("day", "job_id").unique(
        ["unit_id", "component", "damage_mode"], keep="first", maintain_order=True
    )
    families = cohorts["family"].unique().sort().to_list()
    labels = _every_kind(history, events).filter(pl.col("family").is_in(families))  # the others were not built
    laid = _laid(history, first, cohorts, cohorts["family"], families, _ages(cohorts, events))
    exposure = laid[[families.index(name) for name in labels["family"].to_list()]] if labels.height else laid[:0]
    events = events.join(labels.with_row_index("code"), on=_NAMES)
    return _streams(
        "comebacks", first, labels, ["component", "damage_mode"], exposure, None, events, own=True, ratio=COMEBACK_RATIO
    )


def lot_streams(history: History, first: dt.date, seen: pl.DataFrame, back: pl.DataFrame) -> Streams:
    """Return one chart per supplier's lot of a part of which enough pieces were fitted; seen and back as above."""
    names = ["component", "supplier", "part", "lot"]
    lots = _lots(history).sort(names)
    lot = np.repeat(np.arange(lots.height), lots["job_id"].list.len().to_numpy())
    job, position = (lots[name].explode().drop_nulls().to_numpy() for name in ("job_id", "position_id"))
    # By the numbers of jobs, which run on: where each piece begins and how long it lasts, and where its job came back.
    # Pieces are millions: their arrays stay as small as the records have them.
    numbers = seen["job_id"].to_numpy()
    jobs = max(int(job.max(initial=0)), int(numbers.max(initial=0))) + 1
    place, came_back = np.full(jobs, -1, np.int32), np.full(jobs, -1, np.int32)
    place[numbers] = seen.select(pl.col("start") * _SPAN + pl.col("lasting")).to_series().to_numpy()
    came_back[back["job_id"].to_numpy()] = back["position_id"].to_numpy()
    at = place[job]
    fitted = np.bincount(lot[at >= 0], minlength=lots.height)
    enough = fitted >= MINIMUM_PIECES
    code, kept = np.cumsum(enough) - 1, (at >= 0) & enough[lot]
    labels = lots.select(names).with_columns(pl.Series("fitted", fitted, pl.Float64)).filter(pl.Series(enough))
    cohorts = _cohorts_of_lots(code[lot[kept]], at[kept])
    hit = kept & (came_back[job] == position)
    events = pl.DataFrame({"code": code[lot[hit]], "job_id": job[hit]}).join(
        back.select("job_id", "lasting", "day"), on="job_id"
    )
    exposure = _laid(history, first, cohorts, cohorts["code"], list(range(labels.height)), _ages(cohorts, events))
    return _streams("lots", first, labels, ["component"], exposure, None, events, own=False, ratio=LOT_RATIO)


def _cohorts_of_lots(lot: IntArray, place: IntArray) -> pl.DataFrame:
    """Return code (of the lot), start, lasting and n (pieces)."""
    span = int(place.max(initial=0)) + 1
    there, counted = np.unique(lot * span + place, return_counts=True)
    code, at = np.divmod(there, span)
    return pl.DataFrame({"code": code, "start": at // _SPAN, "lasting": at % _SPAN, "n": counted.astype(np.float64)})


def finding_streams(history: History, first: dt.date) -> Streams:
    """Return one chart per family, component and damage mode found in full strips, adjusted for the distance run."""
    of_position, some = conditions(
        Scope(component=history.scope.component, position=history.scope.position),
        {"component": "component", "position": "position"},
    )
    of_visit, more = conditions(
        replace(history.scope, component=None, position=None),
        {"family": "family", "technician": "technician", "fleet": "fleet", "duty": "duty", "kind": "job_kind"},
        "opened",
    )
    strips = _strips(history, f"{of_position} and {of_visit}", {**some, **more})
    kinds, events = _found_bad(history, of_position, some, of_visit, more)
    labels = _every_kind(history, kinds)
    numbered = kinds.join(labels.with_row_index("code"), on=_NAMES)
    events = events.join(numbered.select("kind", "code"), on="kind")
    found = events.group_by("code", "band").agg(pl.len().alias("n")).join(numbered.select("code", *_NAMES), on="code")
    exposure, counted = _weighed(history, first, labels, _cases(strips, first), found)
    streams = _streams(
        "findings", first, labels, ["component", "damage_mode"], exposure, counted, events, own=True,
        ratio=FINDING_RATIO,
    )  # fmt: skip
    return replace(streams, within=_within_months(strips, first, labels, streams.months))


def _band() -> str:
    """Return SQL of the band of distance that a visit falls in."""
    metres = "coalesce(unit_distance_m, odometer_m)"
    when = " ".join(f"when {metres} < {km}000000 then {place}" for place, km in enumerate(_BANDS_KM))
    return f"case when {metres} is null then {len(_BANDS_KM) + 1} {when} else {len(_BANDS_KM)} end"


def _strips(history: History, where: str, values: dict[str, Any]) -> pl.DataFrame:
    """Return counts of full strips by family, band of distance and day: a column for each kind of component looked at."""
    names = history.query(f"with {KINDS} select component, code from kinds order by code")
    counted = ", ".join(
        f"count(*) filter ((bits >> {code}) & 1 = 1)::integer as {component}" for component, code in names.iter_rows()
    )
    # One row per strip with its components as bits, so that a strip costs one group and not one for each component.
    return history.query(
        f"""with {KINDS}, strip as (
          select f.job_id, max(f.known_on) as day, bit_or(k.bit) as bits
          from known_component_finding as f join kinds as k using (component)
          where f.full_strip and f.failed is not null and {where} group by f.job_id
        ),
        strip_of as (select job_id, family, {_band()} as band from known_visit)
        select family, band, day{", " if counted else ""}{counted}
        from strip join strip_of using (job_id) group by all""",
        values,
    )


def _found_bad(
    history: History, of_position: str, some: dict[str, Any], of_visit: str, more: dict[str, Any]
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Return kinds (kind, family, component, damage_mode) and events: one row per full strip in which it was found bad,
    on the day it was first known (kind, job_id, day, band).
    """
    listed = history.query(
        f"""with place as (
          select position_id, family, component from known_position where component is not null and {of_position}
        )
        select p.family, p.component, coalesce(f.damage_mode, '{NO_MODE}') as damage_mode, list(f.job_id) as job_id,
          list(f.known_on) as day
        from known_finding as f join place as p using (position_id) where f.failed group by all""",
        some,
    )
    visits = history.query(f"select job_id, {_band()} as band from known_visit where full_strip and {of_visit}", more)
    kind = np.repeat(np.arange(listed.height), listed["job_id"].list.len().to_numpy())
    job, day = (
        listed[name].explode().drop_nulls().to_physical().cast(pl.Int64).to_numpy() for name in ("job_id", "day")
    )
    band = np.full(max(int(job.max(initial=0)), int(visits["job_id"].to_numpy().max(initial=0))) + 1, -1)
    band[visits["job_id"].to_numpy()] = visits["band"].to_numpy()
    stripped = band[job] >= 0
    kind, job, day = in_order(kind[stripped], job[stripped], day[stripped])
    first = np.append(True, (np.diff(kind) != 0) | (np.diff(job) != 0))[: len(kind)]
    events = pl.DataFrame({"kind": kind[first], "job_id": job[first], "day": day[first], "band": band[job[first]]})
    numbered = listed.select(_NAMES).with_row_index("kind").with_columns(pl.col("kind").cast(pl.Int64))
    return numbered.filter(pl.col("kind").is_in(np.unique(kind))), events.with_columns(
        pl.col("day").cast(pl.Int32).cast(pl.Date)
    )


def _cases(strips: pl.DataFrame, first: dt.date) -> pl.DataFrame:
    """Return strips in which a component was looked at: family, component, band, start (month), n; sorted."""
    names = ["family", "band", "start"]
    monthly = strips.with_columns(_month(first).alias("start")).drop("day").group_by(names).sum()
    return (
        monthly.unpivot(index=names, variable_name="component", value_name="n").filter(pl.col("n") > 0)
        .with_columns(pl.col("n").cast(pl.Float64)).sort("family", "component", "band", "start")
    )  # fmt: skip


def _within_months(strips: pl.DataFrame, first: dt.date, labels: pl.DataFrame, months: int) -> FloatArray:
    """Return (charts, months, days) which share of a month's strips was seen by the end of each of its days."""
    if strips.is_empty():
        return np.zeros((labels.height, months, DAYS_TOLD))
    components = [name for name in strips.columns if name not in ("family", "band", "day")]
    families = strips["family"].unique().sort().to_list()
    family = strips["family"].replace_strict(families, range(len(families)), return_dtype=pl.Int64).to_numpy()
    month = strips.select(_month(first).cast(pl.Int64)).to_series().to_numpy()
    day = strips["day"].dt.day().cast(pl.Int64).to_numpy() - 1
    at, shape = (family * months + month) * DAYS_TOLD + day, (len(families), months, DAYS_TOLD)
    size = len(families) * months * DAYS_TOLD
    # Counted by place, one component after the other: as rows they would be as many again for each.
    seen = np.zeros((len(components) + 1, *shape))
    for place, name in enumerate(components):
        seen[place] = np.bincount(at, strips[name].to_numpy(), size).reshape(shape)
    summed = np.cumsum(seen, axis=3)
    share = np.divide(summed, summed[..., -1:], out=np.zeros_like(summed), where=summed[..., -1:] > 0)
    row, column = (
        labels[name].replace_strict(known, range(len(known)), default=-1, return_dtype=pl.Int64).to_numpy()
        for name, known in (("component", components), ("family", families))
    )
    of_label = share[row, column]  # the last component is the one of which nothing was seen
    of_label[column < 0] = 0.0
    return np.asarray(of_label, dtype=np.float64)


def _month(first: dt.date) -> pl.Expr:
    """Return the expression of the month of `day`, counted from the first."""
    day = pl.col("day").dt
    return (day.year().cast(pl.Int32) - first.year) * 12 + day.month().cast(pl.Int32) - first.month


def _every_kind(history: History, events: pl.DataFrame) -> pl.DataFrame:
    """Return one row per family, component it has, and damage mode ever seen on such a component."""
    modes = events.select("component", "damage_mode").unique()
    places = history.query("select distinct family, component from known_position")
    if history.scope.family is not None:
        places = places.filter(pl.col("family") == history.scope.family)
    seen = events.select(_NAMES).unique()
    return pl.concat([places.join(modes, on="component").select(_NAMES), seen]).unique().sort(_NAMES)


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
    history: History, first: dt.date, labels: pl.DataFrame, cases: pl.DataFrame, found: pl.DataFrame
) -> tuple[FloatArray, FloatArray]:
    """Return (charts, months) inspections, each weighed by how often its distance brings that damage, and plain.

    cases, found: n strips and n events by component (and damage mode of the events) and band of distance.
    """
    months = month_number(first, history.as_of) + 1
    kind = ["component", "damage_mode"]
    by_band = cases.group_by("component", "band").agg(pl.col("n").sum())
    found = found.group_by(*kind, "band").agg(pl.col("n").sum().alias("x"))
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
    columns = (pl.col("code"), pl.col("day").to_physical(), pl.col("job_id"))
    chart, day, job = in_order(*(events.select(column.cast(pl.Int64)).to_series().to_numpy() for column in columns))
    pools: IntArray = labels.select(pl.struct(pool).rank("dense").cast(pl.Int64) - 1).to_series().to_numpy()
    return Streams(
        kind, first, labels, pools, exposure, cases, chart, time_of(first, day.astype("datetime64[D]")), job, own, ratio
    )
