"""Answer: how far does a reading move when a pack changes?"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import polars as pl

from analytics.answer import Answer, Assumption, Column
from analytics.estimators.partial_pooling import partial_pooling
from analytics.history import History
from analytics.learned_responses import FEWEST_JOBS, Response
from analytics.question import Question
from analytics.setting_history import NEWEST_JOBS, SettingHistory
from analytics.setting_jobs import jobs_of_rows
from analytics.shim_corrections import SETTING_CAUTION
from analytics.wording import count_of

METHOD = (
    "Within jobs, first trial against second, where the pack changed between them: one slope for all jobs of a row, "
    "resistant to slips, interval by jobs. A first reading is drawn to its target by the share of its variance that "
    "is reading error, because the pack was changed for its sake. Lengths should move by 1.000 for 1.000 with the "
    "location's sign; backlash by sin(pitch angle) x 2 tan(pressure angle) / cos(spiral angle) per length of ring "
    "shift (a loose guide for hypoid sets); a torque has no theory and counts only beyond the drag. Beside it the "
    "estimate drawn towards those of the other families by how alike they are (Morris 1983). 95 %."
)

_SCHEMA: dict[str, pl.DataType | type[pl.DataType]] = {
    "family": pl.String, "location": pl.String, "quantity": pl.String, "make": pl.String, "bearing": pl.String,
    "jobs": pl.Int64, "trials": pl.Int64, "moves": pl.Float64, "moves_low": pl.Float64, "moves_high": pl.Float64,
    "theory": pl.Float64, "drawn": pl.Float64, "drawn_low": pl.Float64, "drawn_high": pl.Float64,
    "verdict": pl.String, "strange": pl.String, "toward_mean": pl.Float64, "said": pl.String,
}  # fmt: skip


def response(history: History, options: Mapping[str, str]) -> Answer:
    """Return how far readings move per length of pack, per place and, for torques, per bearing make and condition.

    Rows: family, location, quantity, make, bearing (null: all); jobs with a changed pack, trials; moves with limits
    (mm per mm of pack or ring shift, signed; N.m per mm for torques), theory (mm per mm), drawn with limits (partially
    pooled over families of one kind), verdict (as theory says, more, less), strange (jobs with a slip), toward_mean
    (share taken off first deviations), said (where too few).
    """
    setting = SettingHistory(history, history.scope.family, NEWEST_JOBS)
    found = setting.responses
    table = pl.DataFrame([_row(r) for r in found], schema=_SCHEMA)
    table = _drawn(table).sort("family", "location", "make", "bearing", nulls_last=False)
    sentence, number, about = _sentence(table)
    return Answer(
        question="response",
        as_of=history.as_of,
        warehouse_version=history.warehouse.version,
        filters=history.scope.filters(),
        sentence=sentence,
        number=number,
        number_about=about,
        method=METHOD,
        grain="one row per family and location, and for torques per bearing make and condition",
        rows=table,
        columns=_COLUMNS,
        notes=(*_notes(table), SETTING_CAUTION),
        assumptions=_ledger(setting),
    )


def _row(found: Response) -> dict[str, object]:
    row: dict[str, object] = {
        "family": found.family, "location": found.place, "quantity": found.quantity, "make": found.make,
        "bearing": found.bearing, "trials": found.trials, "theory": found.theory, "said": found.too_few,
        "toward_mean": found.toward_mean, "strange": ", ".join(found.strange) or None,
    }  # fmt: skip
    if found.slope is None:
        return row
    slope = found.slope
    row |= {"jobs": slope.units, "moves": slope.estimate, "moves_low": slope.lower, "moves_high": slope.upper}
    return row | {"verdict": _verdict(found)}


def _verdict(found: Response) -> str | None:
    if found.slope is None or found.theory is None:
        return None
    ends = sorted(end * np.sign(found.theory) for end in (found.slope.lower, found.slope.upper))
    if ends[0] > abs(found.theory):
        return "more than by geometry"
    return "less than by geometry" if ends[1] < abs(found.theory) else "as by geometry"


def _drawn(table: pl.DataFrame) -> pl.DataFrame:
    """Add estimates drawn towards those of one kind: as ratios to theory, or torques of one bearing condition."""
    known = table.with_row_index("at").filter(pl.col("moves").is_not_null())
    ratio = pl.when(pl.col("theory").is_not_null()).then(pl.col("theory")).otherwise(1.0)
    known = known.with_columns(ratio.alias("unit")).filter(
        ~pl.col("quantity").str.ends_with("torque") | pl.col("make").is_not_null()
    )
    columns: dict[str, list[float | None]] = {n: [None] * table.height for n in ("drawn", "drawn_low", "drawn_high")}
    for _, part in sorted(known.partition_by("quantity", as_dict=True).items()):
        unit = part["unit"].to_numpy()
        half = (part["moves_high"] - part["moves_low"]).to_numpy() / 2 / 1.96
        pooled = partial_pooling(part["moves"].to_numpy() / unit, np.maximum(np.abs(half / unit), 1e-6))
        if not pooled.pooled:
            continue
        spans = zip(pooled.estimates.estimate, pooled.estimates.lower, pooled.estimates.upper, strict=True)
        for at, scale, (middle, low, high) in zip(part["at"], unit, spans, strict=True):
            ends = sorted((low * scale, high * scale))
            columns["drawn"][at] = float(middle * scale)
            columns["drawn_low"][at], columns["drawn_high"][at] = float(ends[0]), float(ends[1])
    return table.with_columns(*(pl.Series(name, values, dtype=pl.Float64) for name, values in columns.items()))


def _sentence(table: pl.DataFrame) -> tuple[str, str, str]:
    if table.is_empty():
        return "No job in this scope has trials with pack and reading on record.", "", ""
    told = table.filter(pl.col("theory").is_not_null() & pl.col("moves").is_not_null())
    torque = table.filter(pl.col("quantity").str.ends_with("torque") & pl.col("moves").is_not_null())
    if told.is_empty() and torque.is_empty():
        return f"Too few to say: no location has {FEWEST_JOBS} jobs whose pack changed between trials.", "", ""
    if told.is_empty():
        return f"Only torques have trials enough ({count_of(torque.height, 'row')}).", "", ""
    odd = told.filter(pl.col("verdict") != "as by geometry")
    right = told.height - odd.height
    sentence = f"At {right} of {count_of(told.height, 'location')} the reading moves with the pack as geometry says"
    if odd.height:
        row = odd.with_columns(((pl.col("moves") / pl.col("theory")) - 1).abs().alias("off")).sort(
            "off", "family", "location", descending=[True, False, False]
        ).row(0, named=True)  # fmt: skip
        sentence += (
            f"; most off is {row['location']} of {row['family']}: {row['moves']:+.2f} ({row['moves_low']:+.2f} to "
            f"{row['moves_high']:+.2f}) where {row['theory']:+.2f} is expected, over {count_of(row['jobs'], 'job')}"
        )
    return sentence + ".", f"{right} of {told.height}", "locations respond as geometry says"


def _notes(table: pl.DataFrame) -> tuple[str, ...]:
    looks = table.filter(pl.col("verdict").is_not_null()).height
    notes = []
    if looks:
        notes.append(f"{looks} locations are held against geometry at 95 %: about one in twenty differs by chance.")
    if table.filter(pl.col("quantity") == "backlash").height:
        notes.append("Side packs count as ring shift: half their difference. One side alone also changes the preload.")
    return tuple(notes)


def _ledger(setting: SettingHistory) -> tuple[Assumption, ...]:
    states = setting.bare_states.filter((pl.col("stage") == "trial") & (pl.col("coordinate") != "total"))
    jobs = states.select("job", "place").unique().height
    both = states.filter(pl.col("pack").is_not_null() & pl.col("reading").is_not_null())
    changed = both.group_by("job", "place").agg(pl.col("pack").n_unique().alias("packs")).filter(pl.col("packs") > 1)
    bare = jobs - both.select("job", "place").unique().height
    set_up = both.filter("set_up_bearing").select("job", "place").unique().height
    still = jobs - changed.height
    return (
        *setting.counted(),
        Assumption("Counted: job and location whose pack changed between trials", changed.height, still),
        Assumption("Left out: trials without a pack (adjusters, crush sleeves) or a reading", jobs - bare, bare),
        Assumption("Read on set-up bearings, counted like final ones", set_up, None),
    )  # fmt: skip


def _jobs_behind(history: History, row: Mapping[str, str]) -> pl.DataFrame:
    setting = SettingHistory(history, row.get("family") or history.scope.family, NEWEST_JOBS)
    states = setting.bare_states.filter(
        (pl.col("stage") == "trial") & (pl.col("trial") <= 2) & (pl.col("place") == row.get("location", ""))
        & pl.col("pack").is_not_null() & pl.col("reading").is_not_null()
    )  # fmt: skip
    for name in ("make", "bearing"):
        if row.get(name):
            states = states.filter(pl.col(name) == row[name])
    moved = (
        states.sort("job", "trial").group_by("job", maintain_order=True)
        .agg(pl.col("pack").diff().last().alias("pack"), pl.col("reading").diff().last().alias("reading"))
        .filter(pl.col("pack").is_not_null() & (pl.col("pack") != 0))
    )  # fmt: skip
    told = [
        f"pack {pack / 1000:+.3f} mm moved the reading by {reading / 1000:+.3f}"
        for pack, reading in moved.select("pack", "reading").iter_rows()
    ]
    return jobs_of_rows(history, moved.select("job", pl.Series("because", told, dtype=pl.String)))


_COLUMNS = (
    Column("family", "Family"),
    Column("location", "Location"),
    Column("make", "Bearing make"),
    Column("bearing", "Bearing"),
    Column("moves", "Moves", "reading per length of pack: mm per mm, for torques N.m per mm"),
    Column("moves_low", "from", "lower 95 % limit"),
    Column("moves_high", "to", "upper 95 % limit"),
    Column("theory", "By geometry", "mm per mm, from the location's sign or the gear set's angles"),
    Column("verdict", "Verdict"),
    Column("jobs", "Jobs", "whose pack changed between trials"),
    Column("drawn", "Drawn to the others", "drawn towards the other families by how alike they are"),
    Column("drawn_low", "from", "lower 95 % limit"),
    Column("drawn_high", "to", "upper 95 % limit"),
    Column("strange", "Far from the others"),
    Column("said", "If too few"),
)

RESPONSE = Question(
    name="response",
    about="How far depth, backlash, preload and end float move when a pack changes, learned from the trials",
    for_whom="lead technician",
    ask=response,
    jobs_behind=_jobs_behind,
)
