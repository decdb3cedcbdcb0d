"""Answer: by how much does the pack at each location change between strip and reassembly?"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import polars as pl

from analytics.answer import Answer, Assumption, Column
from analytics.bearing_makes import bearing_makes, standing_heights
from analytics.correction_rows import GROUPS, correction_rows
from analytics.estimators.arrays import FloatArray, IntArray
from analytics.estimators.central import mean, mean_absolute, median
from analytics.estimators.interval import Interval, TooFew
from analytics.estimators.proportion import wilson
from analytics.history import History
from analytics.question import Option, Question
from analytics.setting_history import NEWEST_JOBS, SettingHistory
from analytics.setting_jobs import jobs_of_rows
from analytics.wording import between, count_of, millimetres, percent

MINIMUM_JOBS = 5
STRANGE = 4.0  # robust standard deviations from the median of their row
NAMED = 3  # strange jobs named in a row
SETTING_CAUTION = (
    "Figures from history are a starting point for a qualified technician who measures; the unit maker's service data "
    "come first."
)
METHOD = (
    "Pack as built minus pack as found, job by job; where the gear set was changed, the change of its marking is taken "
    "out under the location's sign (thicker raises or lowers the reading). Two side packs count as their difference "
    "and as their total. Mean: t interval by unit; median: order statistics; 95 %. Locations, and kept and changed "
    "gear sets, are never averaged together. Bearing makes: least squares on the pack needed (pack and reading "
    "together) of jobs that put another make in."
)


def shim_corrections(history: History, options: Mapping[str, str]) -> Answer:
    """Return the correction per family, location and kept or changed gear set.

    Rows: family, location, sits, quantity, gear_set (kept, changed, not known), group; jobs, units; mean_um with
    limits, median_um with limits, mean_absolute_um with limits (micrometres, 95 %); found_out of found_checked with
    share and limits (as-found readings outside their limits); left_out (changed sets without a marking); strange
    (jobs far from the others, with their correction); said (where too few). Curve `bearing_makes`: see
    `bearing_makes`, and
    `standing_heights` where bearings were measured.
    """
    setting = SettingHistory(history, history.scope.family, NEWEST_JOBS)
    frame = correction_rows(setting)
    group = GROUPS[options["by"]]
    frame = frame.with_columns((pl.lit(None, dtype=pl.String) if group is None else pl.col(group)).alias("group"))
    sits = setting.places.select("family", "place", "sits")
    frame = frame.join(sits, on=["family", "place"], how="left", maintain_order="left").with_columns(
        pl.col("place").alias("location"), pl.col("unit").rank("dense").alias("unit_number")
    )
    keys = ["family", "location", "sits", "quantity", "gear_set", "group"]
    parts = frame.partition_by(keys, maintain_order=True, as_dict=True)
    rows = [_row(dict(zip(keys, key, strict=True)), part) for key, part in parts.items()]
    table = pl.DataFrame(rows, schema=_SCHEMA).sort("family", "location", "gear_set", "group", nulls_last=True)
    heights = standing_heights(history)
    makes = bearing_makes(setting.rows).join(
        heights, on=["family", "location", "make"], how="left", maintain_order="left"
    )
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
        grain="one row per family, location and kept or changed gear set" + (f", by {group}" if group else ""),
        rows=table,
        columns=_columns(options["by"]),
        notes=(*_make_notes(makes), SETTING_CAUTION),
        assumptions=_ledger(setting, frame),
        curves={"bearing_makes": makes.drop("chance")},
    )


_SCHEMA: dict[str, pl.DataType | type[pl.DataType]] = {
    "family": pl.String, "location": pl.String, "sits": pl.String, "quantity": pl.String, "gear_set": pl.String,
    "group": pl.String, "jobs": pl.Int64, "units": pl.Int64, "left_out": pl.Int64,
    **{f"{name}_{end}": pl.Float64 for name in ("mean", "median", "mean_absolute") for end in ("um", "low", "high")},
    "found_out": pl.Int64, "found_checked": pl.Int64, "share_out": pl.Float64, "share_out_low": pl.Float64,
    "share_out_high": pl.Float64, "strange": pl.String, "said": pl.String,
}  # fmt: skip


def _row(key: dict[str, object], part: pl.DataFrame) -> dict[str, object]:
    net = part["net"].cast(pl.Float64).to_numpy()
    known = np.flatnonzero(~np.isnan(net))
    values, unit = net[known], part["unit_number"].to_numpy()[known].astype(int)
    row: dict[str, object] = {**key, "jobs": known.size, "units": np.unique(unit).size}
    row["left_out"] = part.height - known.size
    if known.size < MINIMUM_JOBS:
        row["said"] = f"too few to say ({known.size} of {MINIMUM_JOBS} jobs)"
        return row
    for name, estimator in (("mean", mean), ("median", median), ("mean_absolute", mean_absolute)):
        found: Interval | TooFew = estimator(values, unit)
        if isinstance(found, TooFew):
            row["said"] = str(found)
            continue
        row |= {f"{name}_um": found.estimate, f"{name}_low": found.lower, f"{name}_high": found.upper}
    row["strange"] = _strange(values, part["job"], known)
    out, checked = int(part["found_out"].sum()), part.height - part["found_out"].null_count()
    row |= {"found_out": out, "found_checked": checked}
    if checked >= MINIMUM_JOBS:
        share = wilson([out], [checked])
        row |= {
            "share_out": float(share.estimate[0]),
            "share_out_low": float(share.lower[0]),
            "share_out_high": float(share.upper[0]),
        }
    return row


def _strange(values: FloatArray, jobs: pl.Series, known: IntArray) -> str | None:
    """Name the jobs whose correction lies far from the others: slips of the pen, or work by others.

    `values`: corrections (um) of the jobs at the places `known` of `jobs`.
    """
    off = np.abs(values - np.median(values))
    spread = max(float(np.median(off)) / 0.6745, float(np.sort(off).mean()))
    far = np.flatnonzero(off > STRANGE * spread)
    if not far.size:
        return None
    worst = sorted((-float(off[place]), str(jobs[int(known[place])]), float(values[place])) for place in far)
    named = [f"{job} ({millimetres(net)})" for _, job, net in worst[:NAMED]]
    more = len(worst) - len(named)
    return ", ".join(named) + (f" and {more} more" if more else "")


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


def _make_notes(makes: pl.DataFrame) -> tuple[str, ...]:
    surest = makes.filter("stands_out").sort("chance", "family", "location", "make")
    surest = surest.unique(["family", "location"], keep="first", maintain_order=True)
    notes = [
        f"{row['make']} bearings at {row['location']} of {row['family']} need the pack changed by "
        f"{millimetres(row['effect_um'])} against other makes ({millimetres(row['effect_low'])} to "
        f"{millimetres(row['effect_high'])}, {count_of(row['jobs'], 'job')} with another make in or out)"
        + (
            f"; measured, they stand {millimetres(row['height_um'])} higher ({millimetres(row['height_low'])} to "
            f"{millimetres(row['height_high'])})."
            if row["height_um"] is not None
            else "."
        )
        for row in surest.iter_rows(named=True)
    ]
    if not notes and makes.height:
        notes = [f"No bearing make stands out at any location ({makes.height} looked at together)."]
    return tuple(notes)


def _one_sided(setting: SettingHistory) -> int:
    """Return how many packs, one a job and location, are on record either as found or as built only."""
    packs = setting.bench.filter(pl.col("stage").is_in(["as_found", "as_built"]) & pl.col("pack").is_not_null())
    of_scope = packs.join(setting.visits.select("job"), on="job", how="semi")
    return of_scope.group_by("job", "location").agg(pl.col("stage").n_unique()).filter(pl.col("stage") == 1).height


def _ledger(setting: SettingHistory, frame: pl.DataFrame) -> tuple[Assumption, ...]:
    unmarked = frame.filter(pl.col("net").is_null()).height
    depth = (pl.col("gear_set") == "changed") & (pl.col("quantity") == "pinion_depth")
    raw = frame.filter(depth & pl.col("net").is_not_null())
    moves = None
    if raw.height:
        left_in, out = (float(np.sort(raw[name].abs().to_numpy()).mean()) / 1000 for name in ("correction", "net"))
        moves = f"depth packs with another set move {left_in:.3f} mm either way in place of {out:.3f} mm"
    return (
        *setting.counted(),
        Assumption("Counted: job and location with both packs on record", frame.height, _one_sided(setting)),
        Assumption(
            "Left out: gear set changed, marking of one of the two sets not on record",
            frame.height - unmarked,
            unmarked,
            "the marking left in",
            moves,
        ),
    )


def _columns(by: str) -> tuple[Column, ...]:
    group = () if GROUPS[by] is None else (Column("group", by[:1].upper() + by[1:]),)
    return (
        Column("family", "Family"),
        Column("location", "Location"),
        Column("gear_set", "Gear set"),
        *group,
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
        Column("strange", "Far from the others", "jobs whose change lies far from the others: look at their sheets"),
        Column("said", "If too few"),
    )


def _jobs_behind(history: History, row: Mapping[str, str]) -> pl.DataFrame:
    frame = correction_rows(SettingHistory(history, row.get("family") or history.scope.family, NEWEST_JOBS))
    group = GROUPS[row.get("by", "nothing")]
    tests = [pl.col("net").is_not_null()]
    for name, column in (("location", "place"), ("gear_set", "gear_set"), ("group", group)):
        if column and row.get(name):
            tests.append(pl.col(column) == row[name])
    because = pl.concat_str(
        pl.col("place"), pl.lit(": "), pl.col("net").map_elements(millimetres, return_dtype=pl.String)
    )
    return jobs_of_rows(history, frame.filter(tests).select("job", because.alias("because")))


SHIM_CORRECTIONS = Question(
    name="shim-corrections",
    about="By how much the pack at each location changes, by gear set kept or changed, and how often it came in wrong",
    for_whom="lead technician",
    ask=shim_corrections,
    options=(Option("by", "what else a row is split by", tuple(GROUPS), "nothing"),),
    jobs_behind=_jobs_behind,
)
