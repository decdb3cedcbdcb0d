"""Answer: which shims do we use up, and which thicknesses set the next jobs without ordering?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import polars as pl

from analytics.answer import Answer, Assumption, Column
from analytics.estimators.assortment import Assortment, assortment_share, smallest_assortment, thickness_use
from analytics.estimators.interval import TooFew
from analytics.history import History
from analytics.question import Option, Question
from analytics.setting_history import NEWEST_JOBS, SettingHistory
from analytics.setting_jobs import jobs_of_rows
from analytics.shims_used import shims_taken
from analytics.typed_number import typed_number
from analytics.wording import count_of, percent

MINIMUM_JOBS = 10
LATER = 0.25  # share of the jobs, the newest, on which the assortment is judged
COPIES = 2
MOST_PIECES = 4
METHOD = (
    "Pieces built in beyond those of the same thickness that came out, per hundred jobs; exact Poisson limits, widened "
    "for the spread between jobs; 95 %. Assortment: fewest thicknesses (two of each, at most four pieces, one where "
    "the location takes one) whose stacks come within the limits of the packs that past jobs needed; greedy with exact "
    "shares, chosen on the older three quarters of the jobs and judged on the newest quarter."
)
Shelves = Mapping[tuple[str, str], Mapping[int, tuple[str | None, int | None]]]
"""Number and count on hand of each thickness (um), thinnest first, per family and location."""

_SCHEMA: dict[str, pl.DataType | type[pl.DataType]] = {
    "family": pl.String, "location": pl.String, "thickness_um": pl.Int64, "part": pl.String, "pieces": pl.Int64,
    "per_100_jobs": pl.Float64, "per_100_low": pl.Float64, "per_100_high": pl.Float64, "jobs": pl.Int64,
    "keep": pl.Boolean, "on_hand": pl.Int64, "said": pl.String,
}  # fmt: skip
_SETS_SCHEMA: dict[str, pl.DataType | type[pl.DataType]] = {
    "family": pl.String, "location": pl.String, "thicknesses": pl.String, "count": pl.Int64, "listed": pl.Int64,
    "chosen_on": pl.Int64, "share": pl.Float64, "later_jobs": pl.Int64, "later_share": pl.Float64,
    "tolerance_um": pl.Float64, "reached": pl.Boolean, "said": pl.String,
}  # fmt: skip


def shim_demand(history: History, options: Mapping[str, str]) -> Answer:
    """Return pieces used per hundred jobs and the thicknesses to keep, per location and thickness.

    Rows: family, location, thickness_um, part; pieces taken, per_100_jobs with limits, jobs (with both packs on
    record); keep (in the assortment that sets the stated share of jobs), on_hand; said (where too few). Curve
    `assortments`: per location the thicknesses, their share over the jobs they were chosen on and over later jobs.
    """
    aim = _share(options["share"])
    setting = SettingHistory(history, history.scope.family, NEWEST_JOBS)
    taken = shims_taken(history, setting.after)
    shelves = _shelves(setting.shelf)
    sets = _assortments(setting, shelves, aim)
    chosen = {
        (family, location): {int(size) for size in words.split()}
        for family, location, words in sets.select("family", "location", "thicknesses").iter_rows()
        if words
    }
    rows = [
        row
        for (family, location), part in sorted(
            taken.partition_by("family", "location", maintain_order=True, as_dict=True).items()
        )
        for row in _rows(str(family), str(location), part, shelves, chosen.get((family, location), set()))
    ]
    table = pl.DataFrame(rows, schema=_SCHEMA).sort(
        pl.col("per_100_jobs").fill_null(-1.0), "family", "location", "thickness_um",
        descending=[True, False, False, False],
    )  # fmt: skip
    sentence, number, about = _sentence(table, sets, aim)
    return Answer(
        question="shim-demand",
        as_of=history.as_of,
        warehouse_version=history.warehouse.version,
        filters=history.scope.filters(),
        sentence=sentence,
        number=number,
        number_about=about,
        method=METHOD,
        grain="one row per family, location and thickness",
        rows=table,
        columns=_COLUMNS,
        notes=_notes(sets, aim),
        assumptions=_ledger(setting, taken),
        curves={"assortments": sets},
    )


def _share(text: str) -> float:
    expected = "a percentage above 0 and up to 100, such as 95"
    return typed_number(text.removesuffix("%"), "share", expected, lambda share: 0 < share <= 100) / 100


def _shelves(shelf: pl.DataFrame) -> Shelves:
    listed: dict[tuple[str, str], dict[int, tuple[str | None, int | None]]] = {}
    for family, location, size, part, on_hand in shelf.select(
        "family", "location", "thickness_um", "part", "on_hand"
    ).iter_rows():
        listed.setdefault((family, location), {})[size] = (part, on_hand)
    return listed


def _rows(family: str, location: str, taken: pl.DataFrame, shelves: Shelves, keep: set[int]) -> list[dict[str, Any]]:
    known = taken.filter("found_known")
    jobs = known["job"].n_unique()
    shelf = shelves.get((family, location), {})
    used = known.filter(pl.col("taken") > 0)
    found = thickness_use(
        used["job"].to_list(), used["thickness_um"].to_list(), used["taken"].to_list(), jobs, minimum=MINIMUM_JOBS
    )
    if isinstance(found, TooFew):
        return [{"family": family, "location": location, "jobs": jobs, "said": str(found)}]
    rows = {
        use.thickness: {
            "pieces": use.pieces, "per_100_jobs": use.per_hundred_jobs.estimate,
            "per_100_low": use.per_hundred_jobs.lower, "per_100_high": use.per_hundred_jobs.upper,
        }
        for use in found
    }  # fmt: skip
    for size in keep - set(rows):
        rows[size] = {"pieces": 0, "per_100_jobs": 0.0, "per_100_low": 0.0, "per_100_high": 100 * 3.689 / jobs}
    told = []
    for size, row in sorted(rows.items()):
        number, on_hand = shelf.get(size, (None, None))
        fixed = {"family": family, "location": location, "thickness_um": size, "jobs": jobs, "keep": size in keep}
        told.append({**fixed, "part": number, "on_hand": on_hand, **row})
    return told


def _assortments(setting: SettingHistory, shelves: Shelves, aim: float) -> pl.DataFrame:
    rows = []
    packs_needed = setting.packs_needed
    by_place = packs_needed.partition_by("family", "place", as_dict=True, maintain_order=True)
    for place in setting.places.iter_rows(named=True):
        needed = by_place.get((place["family"], place["place"]), packs_needed.clear())
        if place["coordinate"] == "pack":
            packs = (needed["aim"] - needed["dimension"]).drop_nulls()
            room = ((needed["aim_high"] - needed["aim_low"]) / 2).drop_nulls()
            rows.append(_assortment(shelves, place, place["location"], packs, room, aim))
        elif place["coordinate"] == "shift":
            rows += _sides(shelves, needed, packs_needed, place, aim)
    return pl.DataFrame([row for row in rows if row], schema=_SETS_SCHEMA).sort("family", "location")


def _sides(
    shelves: Shelves, ring: pl.DataFrame, packs_needed: pl.DataFrame, place: dict[str, Any], aim: float
) -> list[dict[str, Any] | None]:
    """Choose for each of two side packs: half the sum as built, the ring shift needed on one, off the other."""
    of_family = (pl.col("family") == place["family"]) & (pl.col("coordinate") == "total")
    total = packs_needed.filter(of_family).select("job", (pl.col("built_pack") / 2).alias("half"))
    both = ring.join(total, on="job", how="inner", maintain_order="left").filter(
        pl.all_horizontal(pl.col("aim", "dimension", "half").is_not_null())
    )
    room = ((both["aim_high"] - both["aim_low"]) / 2).drop_nulls()
    shift = both["aim"] - both["dimension"]
    return [
        _assortment(shelves, place, location, both["half"] + side * shift, room, aim)
        for location, side in ((place["location"], 1), (place["other"], -1))
    ]


def _assortment(
    shelves: Shelves, place: dict[str, Any], location: str, packs: pl.Series, room: pl.Series, aim: float
) -> dict[str, Any] | None:
    sizes = list(shelves.get((place["family"], location), ()))
    row: dict[str, Any] = {"family": place["family"], "location": location, "listed": len(sizes)}
    if not sizes:
        return None
    if packs.len() < 2 * MINIMUM_JOBS or room.is_empty():
        return row | {"said": f"too few to say ({packs.len()} of {2 * MINIMUM_JOBS} jobs with pack and reading)"}
    tolerance = int(room.median() or 0)  # type: ignore[arg-type]
    older = round(packs.len() * (1 - LATER))
    pieces = MOST_PIECES if place["stackable"] else 1
    first, later = packs.head(older).to_numpy(), packs.tail(packs.len() - older).to_numpy()
    found: Assortment = smallest_assortment(
        first, sizes, tolerance, aim, COPIES if place["stackable"] else 1, pieces, exhaustive_below=100
    )
    judged = assortment_share(later, found.thicknesses, tolerance, COPIES if place["stackable"] else 1, pieces)
    return row | {
        "thicknesses": " ".join(map(str, sorted(found.thicknesses))), "count": len(found.thicknesses),
        "chosen_on": older, "share": found.covered.estimate, "later_jobs": packs.len() - older, "later_share": judged,
        "tolerance_um": float(tolerance), "reached": found.reached,
    }  # fmt: skip


def _sentence(table: pl.DataFrame, sets: pl.DataFrame, aim: float) -> tuple[str, str, str]:
    told = table.filter(pl.col("per_100_jobs").is_not_null())
    if table.is_empty():
        return "No job in this scope has a shim pack as built on record.", "", ""
    if told.is_empty():
        return f"{str(table['said'].drop_nulls()[0]).capitalize()}.", "", ""
    row = told.row(0, named=True)
    sentence = (
        f"Most used is {row['thickness_um'] / 1000:.3f} mm at {row['location']} of {row['family']}: "
        f"{row['per_100_jobs']:.0f} pieces for a hundred jobs ({row['per_100_low']:.0f} to {row['per_100_high']:.0f})"
    )
    judged = sets.filter(pl.col("later_share").is_not_null())
    if judged.height:
        kept = int(judged["count"].sum())
        jobs = judged["later_jobs"].to_numpy()
        later = float((judged["later_share"].to_numpy() * jobs).sum() / jobs.sum())
        sentence += (
            f"; {kept} of {int(judged['listed'].sum())} thicknesses would have set {percent(later, 0)} of the newest "
            f"packs (aim {percent(aim, 0)})"
        )
    return sentence + ".", f"{row['per_100_jobs']:.0f}", f"pieces of {row['thickness_um'] / 1000:.3f} mm for 100 jobs"


def _notes(sets: pl.DataFrame, aim: float) -> tuple[str, ...]:
    short = sets.filter(pl.col("reached").not_().fill_null(False))
    notes = [
        f"{row['location']} of {row['family']}: all listed thicknesses together set {percent(row['share'], 0)} of "
        f"packs, less than {percent(aim, 0)}; a finer step is needed."
        for row in short.iter_rows(named=True)
    ]
    few = sets.filter(pl.col("said").is_not_null())
    if few.height:
        notes.append(f"No assortment for {count_of(few.height, 'location')} with too few jobs.")
    return (*notes, "How many of each to lay in between two orders is a question of stock, not of this table.")


def _ledger(setting: SettingHistory, taken: pl.DataFrame) -> tuple[Assumption, ...]:
    known = taken.filter("found_known").select("job", "location").n_unique()
    every = taken.select("job", "location").n_unique()
    return (
        *setting.counted(),
        Assumption("Counted: job and location with the pack as found and as built", known, every - known),
        Assumption("A piece that came out is put back where its thickness is needed", None, None),
    )


_COLUMNS = (
    Column("family", "Family"),
    Column("location", "Location"),
    Column("thickness_um", "Thickness", "of one piece", "um"),
    Column("per_100_jobs", "Per 100 jobs", "pieces taken from the shelf for a hundred jobs"),
    Column("per_100_low", "from", "lower 95 % limit"),
    Column("per_100_high", "to", "upper 95 % limit"),
    Column("keep", "Keep", "in the smallest assortment that sets the share of jobs aimed at"),
    Column("on_hand", "On hand", "at the last count"),
    Column("pieces", "Pieces"),
    Column("jobs", "Jobs", "with both packs on record"),
    Column("part", "Part"),
    Column("said", "If too few"),
)


def _jobs_behind(history: History, row: Mapping[str, str]) -> pl.DataFrame:
    after = SettingHistory(history, history.scope.family, NEWEST_JOBS).after
    taken = shims_taken(history, after).filter(
        (pl.col("taken") > 0) & pl.col("found_known") & (pl.col("location") == row.get("location", ""))
        & (pl.col("family") == row.get("family", ""))
    )  # fmt: skip
    if row.get("thickness_um"):
        taken = taken.filter(pl.col("thickness_um") == int(float(row["thickness_um"])))
    told = [
        f"{location}: {count} x {size / 1000:.3f} mm"
        for location, count, size in taken.select("location", "taken", "thickness_um").iter_rows()
    ]
    return jobs_of_rows(history, taken.select("job", pl.Series("because", told, dtype=pl.String)))


SHIM_DEMAND = Question(
    name="shim-demand",
    about="Shim pieces used for a hundred jobs, and the fewest thicknesses that set a share of the next jobs",
    for_whom="parts manager",
    ask=shim_demand,
    options=(Option("share", "share of jobs to be set without ordering, in per cent", (), "95"),),
    jobs_behind=_jobs_behind,
)
