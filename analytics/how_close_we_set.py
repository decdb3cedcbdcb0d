"""Answer: how close to the middle of its limits do we set, at the first try and as built?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import polars as pl

from analytics.answer import Answer, Assumption, Column
from analytics.estimators.capability import Capability, capability
from analytics.estimators.individuals_chart import individuals_chart
from analytics.estimators.interval import TooFew
from analytics.estimators.proportion import wilson
from analytics.first_and_built import BY, first_and_built
from analytics.history import History
from analytics.question import Option, Question
from analytics.repeat_readings import repeat_readings
from analytics.setting_history import NEWEST_JOBS, SettingHistory
from analytics.setting_jobs import jobs_of_rows
from analytics.shim_corrections import SETTING_CAUTION
from analytics.wording import between, percent

MINIMUM = 20
METHOD = (
    "Readings placed between their limits (-1 lower, +1 upper). Cp and Cpk: short-term spread from the mean moving "
    "range / 1.128; Pp and Ppk: overall spread; limits of Cp and Pp by chi-square, of Cpk and Ppk by Bissell 1990. "
    "As-built readings were accepted because they lie within limits, so their figures flatter: the first trial is the "
    "honest one. Share out of limits: Wilson. Repeat and hands: analysis of variance over units read by two "
    "technicians. 95 %."
)
_ENDS = ("", "_low", "_high")
_INDICES = ("cp", "cpk", "pp", "ppk")
_SCHEMA: dict[str, pl.DataType | type[pl.DataType]] = {
    "quantity": pl.String, "sides": pl.String, "group": pl.String, "jobs": pl.Int64, "first_out": pl.Int64,
    **{f"share_out{end}": pl.Float64 for end in _ENDS},
    **{f"{name}{end}": pl.Float64 for name in _INDICES for end in _ENDS},
    "off_centre": pl.Float64, "built_jobs": pl.Int64, "built_out": pl.Int64, "built_share_out": pl.Float64,
    **{f"built_ppk{end}": pl.Float64 for end in _ENDS}, "said": pl.String,
}  # fmt: skip


def how_close_we_set(history: History, options: Mapping[str, str]) -> Answer:
    """Return capability at the first trial and as built, per quantity and group.

    Rows: quantity, sides (limits on both sides or one), group; jobs, first_out, share_out with limits, cp, cpk, pp,
    ppk with limits (first trial), off_centre (mean place between the limits); built_jobs, built_out, built_share_out,
    built_ppk with limits (truncated by acceptance); said (where too few). Curves: `individuals` (first trials of the
    first row told, in order, with the lines of the individuals and moving-range chart), `repeats` (see
    `repeat_readings`), `round_the_ring` (spread of the points round the ring as built).
    """
    setting = SettingHistory(history, history.scope.family, NEWEST_JOBS)
    frame = first_and_built(setting)
    by = BY[options["by"]]
    frame = frame.with_columns((pl.lit(None, dtype=pl.String) if by is None else pl.col(by)).alias("group"))
    keys = ["quantity", "sides", "group"]
    parts = frame.partition_by(keys, maintain_order=True, as_dict=True)
    rows = [_row(dict(zip(keys, key, strict=True)), part) for key, part in parts.items()]
    table = pl.DataFrame(rows, schema=_SCHEMA).sort(
        pl.col("ppk").fill_null(9.0), "quantity", "sides", "group", nulls_last=True
    )
    sentence, number, about = _sentence(table, options["by"])
    repeats, ring = repeat_readings(history, setting.after), _round_the_ring(history, setting, frame)
    return Answer(
        question="how-close-we-set",
        as_of=history.as_of,
        warehouse_version=history.warehouse.version,
        filters=history.scope.filters(),
        sentence=sentence,
        number=number,
        number_about=about,
        method=METHOD,
        grain="one row per quantity" + (f" and {options['by']}" if by else ""),
        rows=table,
        columns=_columns(options["by"]),
        notes=(*_notes(repeats, ring), SETTING_CAUTION),
        assumptions=_ledger(setting, frame, table),
        curves={"individuals": _individuals(frame, table), "repeats": repeats, "round_the_ring": ring},
    )


def _row(key: dict[str, Any], part: pl.DataFrame) -> dict[str, Any]:
    first, built = part.filter(pl.col("stage") == "first"), part.filter(pl.col("stage") == "built")
    row: dict[str, Any] = {**key, "jobs": first.height, "built_jobs": built.height}
    row |= {"first_out": int(first["outside"].sum()), "built_out": int(built["outside"].sum())}
    if first.height:
        share = wilson([row["first_out"]], [first.height])
        row |= {
            "share_out": float(share.estimate[0]), "share_out_low": float(share.lower[0]),
            "share_out_high": float(share.upper[0]),
        }  # fmt: skip
    if built.height:
        row["built_share_out"] = row["built_out"] / built.height
    found = _capability(first, key["sides"])
    if isinstance(found, Capability):
        for name in _INDICES:
            interval = getattr(found, name)
            if interval is not None:
                row |= {name: interval.estimate, f"{name}_low": interval.lower, f"{name}_high": interval.upper}
        row["off_centre"] = found.mean
    else:
        row["said"] = found
    accepted = _capability(built, key["sides"])
    if isinstance(accepted, Capability):
        ppk = accepted.ppk
        row |= {"built_ppk": ppk.estimate, "built_ppk_low": ppk.lower, "built_ppk_high": ppk.upper}
    return row


def _capability(part: pl.DataFrame, sides: str) -> Capability | str:
    """Return the capability of one stage's places, or in words why there is none."""
    places = part["position"].drop_nulls().to_numpy()
    if places.size < MINIMUM:
        return f"too few to say ({places.size} of {MINIMUM} readings)"
    if places.min() == places.max():
        return "all readings are the same: no spread to compare with the limits"
    lower, upper = (-1.0, 1.0) if sides == "both" else (0.0, None)
    found: Capability | TooFew = capability(places, lower, upper)
    return str(found) if isinstance(found, TooFew) else found


def _sentence(table: pl.DataFrame, by: str) -> tuple[str, str, str]:
    if table.is_empty():
        return "No first trial or as-built reading in this scope has its limits on record.", "", ""
    told = table.filter(pl.col("ppk").is_not_null())
    if told.is_empty():
        most = max(table["jobs"].to_list())
        return f"Too few to say ({most} of {MINIMUM} first trials of any one quantity).", "", ""
    row = told.row(0, named=True)
    name = row["quantity"].replace("_", " ") + (f", {row['group']}" if row["group"] else "")
    sentence = (
        f"{name[0].upper()}{name[1:]} is what we set least surely: {percent(row['share_out'], 0)} of first trials lie "
        f"out of limits ({between(row['share_out_low'], row['share_out_high'], 0)}; {row['first_out']} of "
        f"{row['jobs']}), Ppk {row['ppk']:.2f} ({row['ppk_low']:.2f} to {row['ppk_high']:.2f})."
    )
    return sentence, percent(row["share_out"], 0), f"of first trials out of limits: {name}"


def _round_the_ring(history: History, setting: SettingHistory, frame: pl.DataFrame) -> pl.DataFrame:
    """Return per family how far readings round the ring lie apart as built, against the limit of run-out."""
    limits = history.query(
        "select family, min(upper) as limit_um from known_specification where quantity = 'run_out' group by 1"
    )
    built = frame.filter((pl.col("stage") == "built") & (pl.col("points") >= 4))
    return (
        built.group_by("family").agg(
            pl.len().alias("jobs"), pl.col("spread").mean().alias("mean_um"), pl.col("spread").max().alias("most_um"),
            pl.col("spread").quantile(0.9).alias("nine_in_ten_um"),
        )
        .join(limits, on="family", how="left").sort("family")
    )  # fmt: skip


def _notes(repeats: pl.DataFrame, ring: pl.DataFrame) -> tuple[str, ...]:
    notes = []
    for quantity in repeats["quantity"].unique().sort().to_list():
        rows = {row["source"]: row for row in repeats.filter(pl.col("quantity") == quantity).iter_rows(named=True)}
        name = quantity.replace("_", " ")
        if "repeat" not in rows:
            notes.append(f"Repeated readings of {name}: {rows['gauge in all']['said']}.")
            continue
        again, hands = rows["repeat"], rows["hands"]
        notes.append(
            f"Repeated readings of {name}: {again['deviation'] / 1000:.3f} in the same hands, "
            f"{hands['deviation'] / 1000:.3f} between hands (standard deviations, mm or N.m; {again['readings']} "
            f"readings of {again['parts']} units). The first reading of each was accepted within limits, the repeats were not."
        )
    notes += [
        f"Round the ring of {row['family']} backlash differs by {row['mean_um'] / 1000:.3f} mm on average, in nine of "
        f"ten by at most {row['nine_in_ten_um'] / 1000:.3f} mm ({row['jobs']} jobs)"
        + (f"; run-out may be {row['limit_um'] / 1000:.3f} mm." if row["limit_um"] is not None else ".")
        for row in ring.iter_rows(named=True)
    ]
    return tuple(notes)


def _individuals(frame: pl.DataFrame, table: pl.DataFrame) -> pl.DataFrame:
    """Return the first trials of the first row told, in order, with centre, limits and moving ranges."""
    schema: dict[str, pl.DataType | type[pl.DataType]] = {
        "number": pl.Int64, "day": pl.Date, "job": pl.String, "place": pl.Float64, "centre": pl.Float64,
        "lower": pl.Float64, "upper": pl.Float64, "moving_range": pl.Float64, "moving_range_upper": pl.Float64,
    }  # fmt: skip
    told = table.filter(pl.col("ppk").is_not_null())
    if told.is_empty():
        return pl.DataFrame(schema=schema)
    row = told.row(0, named=True)
    chosen = frame.filter(
        (pl.col("stage") == "first") & (pl.col("quantity") == row["quantity"]) & (pl.col("sides") == row["sides"])
        & pl.col("group").eq_missing(pl.lit(row["group"], dtype=pl.String)) & pl.col("position").is_not_null()
    )  # fmt: skip
    chart = individuals_chart(chosen["position"].to_numpy())
    if isinstance(chart, TooFew):
        return pl.DataFrame(schema=schema)
    ranges = [None, *chart.moving_ranges.tolist()]
    lines = [
        (number, day, job, place, chart.centre, chart.lower, chart.upper, moving, chart.moving_range_upper)
        for number, ((day, job, place), moving) in enumerate(
            zip(chosen.select("day", "job", "position").iter_rows(), ranges, strict=True), 1
        )
    ]
    return pl.DataFrame(lines, schema=schema, orient="row")


def _ledger(setting: SettingHistory, frame: pl.DataFrame, table: pl.DataFrame) -> tuple[Assumption, ...]:
    states = setting.bare_states.filter(
        (pl.col("stage") == "trial") & (pl.col("trial") == 1) & (pl.col("coordinate") != "total")
    )
    first = frame.filter(pl.col("stage") == "first").height
    tight = frame.filter(pl.col("position").is_null() & (pl.col("stage") == "first")).height
    out = (int(table["first_out"].sum()), int(table["jobs"].sum()))
    built = (int(table["built_out"].sum()), int(table["built_jobs"].sum()))
    moves = None
    if out[1] and built[1]:
        moves = f"{percent(out[0] / out[1])} out of limits becomes {percent(built[0] / built[1])}"
    return (
        *setting.counted(),
        Assumption(
            "Counted: first trials with reading and limits on record (crush sleeves, which are tightened step by step, "
            "are left out)",
            first,
            states.height - first,
            "as built",
            moves,
        ),
        Assumption("Tight end floats read nought: counted as out, left out of the spread", first - tight, tight),
    )  # fmt: skip


def _columns(by: str) -> tuple[Column, ...]:
    group = () if BY[by] is None else (Column("group", "Read by" if by == "technician" else by.capitalize()),)
    return (
        Column("quantity", "Reading"),
        *group,
        Column("share_out", "First trials out", "share of first trials out of limits", "share"),
        Column("share_out_low", "from", "lower 95 % limit", "share"),
        Column("share_out_high", "to", "upper 95 % limit", "share"),
        Column("jobs", "First trials"),
        Column("ppk", "Ppk", "nearer limit over three overall standard deviations, first trials"),
        Column("ppk_low", "from", "lower 95 % limit"),
        Column("ppk_high", "to", "upper 95 % limit"),
        Column("said", "If too few"),
        Column("pp", "Pp", "limits over six overall standard deviations, first trials"),
        Column("pp_low", "from", "lower 95 % limit"),
        Column("pp_high", "to", "upper 95 % limit"),
        Column("cpk", "Cpk", "nearer limit over three short-term standard deviations, first trials"),
        Column("cpk_low", "from", "lower 95 % limit"),
        Column("cpk_high", "to", "upper 95 % limit"),
        Column("cp", "Cp", "limits over six short-term standard deviations, first trials"),
        Column("cp_low", "from", "lower 95 % limit"),
        Column("cp_high", "to", "upper 95 % limit"),
        Column("off_centre", "Mean place", "-1 at the lower limit, +1 at the upper, first trials"),
        Column("built_ppk", "Ppk as built", "accepted readings: flatters"),
        Column("built_ppk_low", "from", "lower 95 % limit"),
        Column("built_ppk_high", "to", "upper 95 % limit"),
        Column("built_share_out", "As built out", "share of accepted readings out of limits", "share"),
        Column("built_jobs", "As built"),
        Column("sides", "Limits"),
    )


def _jobs_behind(history: History, row: Mapping[str, str]) -> pl.DataFrame:
    frame = first_and_built(SettingHistory(history, history.scope.family, NEWEST_JOBS)).filter(
        (pl.col("stage") == "first") & pl.col("outside") & (pl.col("quantity") == row.get("quantity", ""))
    )
    by = BY[row.get("by", "nothing")]
    if by is not None and row.get("group"):
        frame = frame.filter(pl.col(by) == row["group"])
    told = [
        f"{place}: first trial read {reading / 1000:.3f}"
        for place, reading in frame.select("place", "reading").iter_rows()
    ]
    return jobs_of_rows(history, frame.select("job", pl.Series("because", told, dtype=pl.String)))


HOW_CLOSE_WE_SET = Question(
    name="how-close-we-set",
    about="How first trials and accepted readings lie between their limits, and how well readings repeat",
    for_whom="lead technician",
    ask=how_close_we_set,
    options=(Option("by", "what one row stands for beside the reading", tuple(BY), "nothing"),),
    jobs_behind=_jobs_behind,
)
