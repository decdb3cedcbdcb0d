"""Answer: by how much does the pack at each location change between strip and reassembly?"""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from analytics.answer import Answer, Assumption, Column
from analytics.estimators.central import mean, mean_absolute, median
from analytics.estimators.interval import Interval, TooFew
from analytics.estimators.proportion import wilson
from analytics.history import History
from analytics.job_list import jobs_behind
from analytics.question import Question
from analytics.scope_sql import conditions
from analytics.wording import between, count_of, millimetres, percent

MINIMUM_JOBS = 5
METHOD = (
    "Pack as built minus pack as found, job by job; where the gear set was changed, the change of its marking is taken "
    "out under the location's sign (thicker raises or lowers the reading). Mean: t interval by unit; median: order "
    "statistics; 95 %. Locations, and kept and changed gear sets, are never averaged together."
)
_FILTERS = {
    "family": "family", "technician": "technician", "fleet": "fleet", "duty": "duty", "kind": "kind",
}  # fmt: skip

# One row per job and location with both packs.
CORRECTION = """
found as (
  select job, unit, family, location, arg_min(total_um, trial) as total_um
  from known_pack where stage = 'as_found' group by all
),
built as (
  select job, location, arg_max(total_um, trial) as total_um from known_pack where stage = 'as_built' group by all
),
visit as (
  select j.*, g.marked_depth_um as found_mark_um, coalesce(g.sign_rule, 'added') as found_rule,
    b.marked_depth_um as built_mark_um, coalesce(b.sign_rule, 'added') as built_rule
  from known_job as j
  left join known_gear_set as g on g.set_number = j.gear_set_found
  left join known_gear_set as b on b.set_number = j.gear_set_built
),
limits as (  -- one row per family and location whose target carries the marking
  select distinct family, location from known_specification where basis = 'constant_plus_marked_deviation'
),
outside as (  -- one row per job and location with readings as found: out of limits or not
  select job, location, quantity, avg(value) as value, min(lower) as lower, max(upper) as upper,
    case when min(lower) is null and max(upper) is null then null
      else avg(value) < min(lower) or avg(value) > max(upper) end as out_of_limits
  from known_measurement where stage = 'as_found' and location is not null group by all
),
correction as (
  select f.job, f.unit, f.family, f.location, l.sits, l.quantity, v.technician, v.fleet, v.duty, v.kind, v.opened,
    case when v.gear_set_found is null or v.gear_set_built is null then 'not known'
      when v.gear_set_found = v.gear_set_built then 'kept' else 'changed' end as gear_set,
    f.total_um as found_um, b.total_um as built_um, b.total_um - f.total_um as raw_um,
    m.location is not null as carries_marking,
    if(v.built_rule = 'added', v.built_mark_um, -v.built_mark_um)
      - if(v.found_rule = 'added', v.found_mark_um, -v.found_mark_um) as marking_change_um,
    if(l.thicker_moves = 'increases', 1, -1) as sign, o.out_of_limits
  from found as f
  join built as b using (job, location)
  join visit as v on v.job = f.job
  join known_shim_location as l on l.family = f.family and l.location = f.location
  left join limits as m on m.family = f.family and (m.location = f.location)
  left join outside as o on o.job = f.job and o.location = f.location and o.quantity = l.quantity
),
net as (
  select *, case when gear_set = 'changed' and carries_marking then raw_um - sign * marking_change_um
    else raw_um end as net_um
  from correction
)
"""


def shim_corrections(history: History, options: Mapping[str, str]) -> Answer:
    """Return the correction per family, location and kept or changed gear set.

    Rows: family, location, sits, quantity, gear_set (kept, changed, not known); jobs, units; mean_um with limits,
    median_um with limits, mean_absolute_um with limits (micrometres, 95 %); found_out of found_checked with share and
    limits (as-found readings outside their limits); left_out (changed sets without a marking); said (where too few).
    """
    where, values = conditions(history.scope, _FILTERS, "opened")
    frame = history.query(
        f"with {CORRECTION} select * from net where {where} order by family, location, gear_set, job", values
    )
    keys = ["family", "location", "sits", "quantity", "gear_set"]
    parts = frame.partition_by(keys, maintain_order=True, as_dict=True)
    rows = [_row(dict(zip(keys, key, strict=True)), part) for key, part in parts.items()]
    table = pl.DataFrame(rows, schema=_SCHEMA).sort("family", "location", "gear_set")
    sentence, number, about = _sentence(table)
    return Answer(
        question="shim-corrections",
        as_of=history.as_of,
        warehouse_version=history.warehouse.version,
        filters=history.scope.filters(),
        sentence=sentence,
        number=number,
        number_about=about,
        method=METHOD,
        grain="one row per family, location and kept or changed gear set",
        rows=table,
        columns=_COLUMNS,
        notes=(
            "Figures from history are a starting point for a qualified technician who measures; the unit maker's "
            "service data come first.",
        ),
        assumptions=_ledger(history, frame),
    )


_SCHEMA: dict[str, pl.DataType | type[pl.DataType]] = {
    "family": pl.String, "location": pl.String, "sits": pl.String, "quantity": pl.String, "gear_set": pl.String,
    "jobs": pl.Int64, "units": pl.Int64, "left_out": pl.Int64,
    **{f"{name}_{end}": pl.Float64 for name in ("mean", "median", "mean_absolute") for end in ("um", "low", "high")},
    "found_out": pl.Int64, "found_checked": pl.Int64, "share_out": pl.Float64, "share_out_low": pl.Float64,
    "share_out_high": pl.Float64, "said": pl.String,
}  # fmt: skip


def _row(key: dict[str, object], part: pl.DataFrame) -> dict[str, object]:
    known = part.filter(pl.col("net_um").is_not_null())
    row: dict[str, object] = {**key, "jobs": known.height, "units": known["unit"].n_unique()}
    row["left_out"] = part.height - known.height
    if known.height < MINIMUM_JOBS:
        row["said"] = f"too few to say ({known.height} of {MINIMUM_JOBS} jobs)"
        return row
    values = known["net_um"].to_numpy().astype(float)
    unit = known["unit"].rank("dense").to_numpy().astype(int)
    for name, estimator in (("mean", mean), ("median", median), ("mean_absolute", mean_absolute)):
        found: Interval | TooFew = estimator(values, unit)
        if isinstance(found, TooFew):
            row["said"] = str(found)
            continue
        row |= {f"{name}_um": found.estimate, f"{name}_low": found.lower, f"{name}_high": found.upper}
    checked = part.filter(pl.col("out_of_limits").is_not_null())
    out = int(checked["out_of_limits"].sum())
    row |= {"found_out": out, "found_checked": checked.height}
    if checked.height >= MINIMUM_JOBS:
        share = wilson([out], [checked.height])
        row |= {
            "share_out": float(share.estimate[0]),
            "share_out_low": float(share.lower[0]),
            "share_out_high": float(share.upper[0]),
        }
    return row


def _sentence(table: pl.DataFrame) -> tuple[str, str, str]:
    told = table.filter(pl.col("mean_absolute_um").is_not_null())
    if table.is_empty():
        return "No job in this scope has both the pack as found and the pack as built on record.", "", ""
    if told.is_empty():
        most = max(table["jobs"].to_list())
        return f"Too few to say ({most} of {MINIMUM_JOBS} jobs at any one location).", "", ""
    top = told.sort(
        "mean_absolute_um", "jobs", "family", "location", "gear_set", descending=[True, True, False, False, False]
    )
    row = top.row(0, named=True)
    kept = {"kept": "gear set kept", "changed": "gear set changed, marking taken out"}
    low, high = millimetres(row["mean_low"]), millimetres(row["mean_high"])
    sentence = (
        f"The pack {row['location']} of {row['family']} moves most ({kept.get(row['gear_set'], 'gear set not known')}):"
        f" on average by {millimetres(row['mean_um'])} ({low} to {high}), {row['mean_absolute_um'] / 1000:.3f} mm "
        f"either way, in {count_of(row['jobs'], 'job')}."
    )
    if row["share_out"] is not None:
        sentence += (
            f" {percent(row['share_out'], 0)} came in out of limits "
            f"({between(row['share_out_low'], row['share_out_high'], 0)})."
        )
    return (
        sentence,
        f"{row['mean_absolute_um'] / 1000:.3f} mm",
        f"average change either way {row['location']}, {row['family']}",
    )


def _ledger(history: History, frame: pl.DataFrame) -> tuple[Assumption, ...]:
    where, values = conditions(history.scope, {**_FILTERS, "family": "u.family"}, "j.opened")
    one_sided = history.query(
        f"""
        select count(*) as packs from (
          select p.job, p.location from known_pack as p
          join known_job as j using (job) join known_unit as u on u.unit = j.unit
          where {where} and p.stage in ('as_found', 'as_built')
          group by all having count(distinct p.stage) = 1
        )
        """,
        values,
    )["packs"][0]
    unmarked = frame.filter(pl.col("net_um").is_null()).height
    return (
        Assumption("Counted: job and location with both packs on record", frame.height, int(one_sided)),
        Assumption(
            "Left out: gear set changed, marking of one of the two sets not on record",
            frame.height - unmarked,
            unmarked,
        ),
    )


_COLUMNS = (
    Column("family", "Family"),
    Column("location", "Location"),
    Column("gear_set", "Gear set"),
    Column("jobs", "Jobs"),
    Column("mean_um", "Mean change", "as built minus as found, marking taken out", "um"),
    Column("mean_low", "from", "lower 95 % limit", "um"),
    Column("mean_high", "to", "upper 95 % limit", "um"),
    Column("median_um", "Median", "", "um"),
    Column("mean_absolute_um", "Either way", "mean of the absolute change", "um"),
    Column("found_out", "Found out of limits"),
    Column("found_checked", "Read as found"),
    Column("share_out", "Share out", "", "share"),
    Column("share_out_low", "from", "lower 95 % limit", "share"),
    Column("share_out_high", "to", "upper 95 % limit", "share"),
    Column("said", "If too few"),
)


def _jobs_behind(history: History, row: Mapping[str, str]) -> pl.DataFrame:
    where, values = conditions(history.scope, _FILTERS, "opened")
    named = ("family", "location", "gear_set")
    tests = " and ".join(["true", *(f"{name} = $row_{name}" for name in named if row.get(name))])
    return jobs_behind(
        history,
        f"""
        select job, location || ': ' || printf('%+.3f', net_um / 1000.0) || ' mm' as because
        from (with {CORRECTION} select * from net where {where}) where net_um is not null and {tests}
        """,
        {**values, **{f"row_{name}": row[name] for name in named if row.get(name)}},
    )


SHIM_CORRECTIONS = Question(
    name="shim-corrections",
    about="By how much the pack at each location changes, by gear set kept or changed, and how often it came in wrong",
    for_whom="lead technician",
    ask=shim_corrections,
    jobs_behind=_jobs_behind,
)
