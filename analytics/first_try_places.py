"""Predict the pack of every place of one unit, and what its trials so far say."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from analytics.estimators.interval import TooFew
from analytics.first_try_model import NOT_KNOWN, Case, FirstTry, past_jobs, predict
from analytics.first_try_request import Request
from analytics.learned_responses import drag_without_preload
from analytics.set_rows import in_pack_terms
from analytics.set_target import NoTarget, Setting, Target, specifications, target_for
from analytics.setting_history import SettingHistory

NO_PACK = {
    "crush_sleeve": "a crush sleeve is tightened step by step and cannot be backed off: no pack to choose",
    "threaded_adjuster": "threaded adjusters are turned notch by notch: no pack to choose",
}


@dataclass(frozen=True)
class PlaceAnswer:
    """Hold the answer for one place, lengths in mm of pack; `said` says in words why there is none.

    `after_trials` is the pack that the trials so far and the past together point to.
    """

    place: dict[str, Any]
    case: Case | None
    target: Target | None
    predicted: FirstTry | None
    after_trials: tuple[float, float, float] | None
    last_trial: dict[str, Any] | None
    said: str | None


def place_answers(setting: SettingHistory, request: Request, level: float) -> tuple[PlaceAnswer, ...]:
    """Return the answer for every place of the unit, in the order in which they are set."""
    places = setting.places.filter(pl.col("family") == request.family)
    if request.location is not None:
        here = (pl.col("location") == request.location) | (pl.col("other") == request.location)
        places = places.filter(here)
    order = {"pinion_depth": 0, "preload_torque": 1, "side_total": 2, "backlash": 3}
    limits = specifications(setting.history)
    rows = sorted(places.iter_rows(named=True), key=lambda row: (order.get(row["quantity"], 4), row["place"]))
    return tuple(_answer(setting, request, row, limits, level) for row in rows)


def _answer(
    setting: SettingHistory, request: Request, place: dict[str, Any], limits: pl.DataFrame, level: float
) -> PlaceAnswer:
    if place["sits"] in NO_PACK:
        return PlaceAnswer(place, None, None, None, None, None, NO_PACK[place["sits"]])
    found, trials = _on_record(setting, request, place)
    bearing = request.bearing or next((t["bearing"] for t in trials if t["bearing"]), None) or "new"
    make = request.make if request.make != NOT_KNOWN else next((t["make"] for t in trials if t["make"]), NOT_KNOWN)
    target = _target(request, place, limits, trials, bearing, found)
    if isinstance(target, NoTarget):
        return PlaceAnswer(place, None, None, None, None, None, target.reason)
    lines = _lines(setting, request, place, found, trials, target, bearing, make)
    if lines["rise"].null_count():
        words = "how far this reading answers to the pack is not known yet: too few trials on record"
        return PlaceAnswer(place, None, target, None, None, None, words)
    case = _case(setting, request, place, lines, bearing, make, found)
    past = past_jobs(_comparable(setting, request, place))
    predicted = predict(past, case, level)
    if isinstance(predicted, TooFew):
        return PlaceAnswer(place, case, target, None, None, None, str(predicted))
    tried = lines.filter((pl.col("stage") == "trial") & (pl.col("trial") > 0))
    return PlaceAnswer(
        place, case, target, predicted, _after(predicted, case, tried), _last(tried), None
    )  # fmt: skip


def _comparable(setting: SettingHistory, request: Request, place: dict[str, Any]) -> pl.DataFrame:
    """Return the past rows of the place's quantity, this job itself left out."""
    rows = setting.packs_needed.filter(
        (pl.col("quantity") == place["quantity"]) & (pl.col("coordinate") == place["coordinate"])
        & pl.col("rise").is_not_null()
    )  # fmt: skip
    return rows if request.job is None else rows.filter(pl.col("job") != request.job)


def _on_record(
    setting: SettingHistory, request: Request, place: dict[str, Any]
) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """Return what was found and tried: from the job's records, with the options laid over them."""
    states = setting.bare_states.filter((pl.col("job") == (request.job or "")) & (pl.col("place") == place["place"]))
    found = next(states.filter(pl.col("stage") == "as_found").iter_rows(named=True), {})
    trials = list(states.filter(pl.col("stage") == "trial").sort("trial").iter_rows(named=True))
    named = request.location is not None and place["coordinate"] != "total"
    if named and request.found_pack is not None:
        half = 2 if place["coordinate"] == "shift" else 1
        found = {**found, "pack": request.found_pack / half}
    if named and request.found_reading is not None:
        found = {**found, "reading": request.found_reading}
    given = _given_trial(request, place)
    if given:
        trials.append({"make": None, "bearing": None, "points": 1, "trial": len(trials) + 1, "pack": None, **given})
    return found, trials


def _given_trial(request: Request, place: dict[str, Any]) -> dict[str, float]:
    """Return the trial given as options for one place."""
    trial, quantity = request.trial, place["quantity"]
    general = {"backlash": "trial-backlash-mm", "pinion_depth": "trial-depth-mm", "preload_torque": "trial-torque-nm"}
    given: dict[str, float] = {}
    here = request.location is not None and request.location in (place["location"], place["other"])
    if here and "trial-reading-mm" in trial:
        given["reading"] = trial["trial-reading-mm"]
    elif general.get(quantity) in trial:
        given["reading"] = trial[general[quantity]]
    if quantity.endswith("torque") and "trial-end-play-mm" in trial:
        given["end_play"] = trial["trial-end-play-mm"]
    if given and here and "trial-pack-mm" in trial:
        given["pack"] = trial["trial-pack-mm"]
    return given


def _target(
    request: Request, place: dict[str, Any], limits: pl.DataFrame, trials: list[dict[str, Any]], bearing: str,
    found: dict[str, Any],
) -> Target | NoTarget:  # fmt: skip
    if place["coordinate"] == "total":
        return Target(0.0, None, None, "what past jobs took")
    written = next((t for t in reversed(trials) if t.get("target") is not None), None)
    if written is not None:
        return Target(written["target"], written["lower"], written["upper"], "what the job's trials aim at")
    setting = Setting(request.gear_set, bearing, request.marking, request.marked_backlash, found.get("reading"))
    return target_for(limits, request.family, place["location"], place["quantity"], setting)


def _lines(
    setting: SettingHistory, request: Request, place: dict[str, Any], found: dict[str, Any],
    trials: list[dict[str, Any]], target: Target, bearing: str, make: str,
) -> pl.DataFrame:  # fmt: skip
    """Return the unit's own lines in terms of the pack: as found, aimed at (trial 0), and each trial."""
    shared = {
        "job": "this", "target": target.target, "lower": target.lower, "upper": target.upper,
        **{name: place[name] for name in ("family", "place", "coordinate", "quantity", "sign")},
    }  # fmt: skip
    total = place["coordinate"] == "total"
    found_reading = found.get("reading")
    rows = [
        {"stage": "as_found", "trial": 0, "pack": found.get("pack"), "reading": found_reading, "end_play": None,
         "make": found.get("make"), "bearing": "used", "points": 1, **shared},
        {"stage": "trial", "trial": 0, "pack": 0.0, "reading": target.target, "end_play": None, "make": make,
         "bearing": bearing, "points": 1, **shared},
    ]  # fmt: skip
    for number, t in enumerate(trials, 1):
        rows.append(
            {"stage": "trial", "trial": number, "pack": t.get("pack"), "reading": t.get("reading"),
             "end_play": t.get("end_play"), "make": t.get("make") or make, "bearing": t.get("bearing") or bearing,
             "points": t.get("points") or 1, **shared}
        )  # fmt: skip
    schema = {
        "stage": pl.String, "trial": pl.Int64, "pack": pl.Float64, "reading": pl.Float64, "end_play": pl.Float64,
        "make": pl.String, "bearing": pl.String, "points": pl.Int64, "job": pl.String, "target": pl.Float64,
        "lower": pl.Float64, "upper": pl.Float64, "family": pl.String, "place": pl.String, "coordinate": pl.String,
        "quantity": pl.String, "sign": pl.Int64,
    }  # fmt: skip
    states = pl.DataFrame(rows, schema=schema)
    angles = dict.fromkeys(("pitch_angle", "pressure_angle", "spiral_angle"), pl.Float64)
    visit = pl.DataFrame(
        [{"job": "this", **request.angles}], schema={"job": pl.String, "tooth_form": pl.String, **angles}
    )
    responses = () if total else setting.responses
    lines = in_pack_terms(states, visit, responses, drag_without_preload(setting.bare_states) if not total else {})
    if not total:
        return lines
    return lines.with_columns(
        pl.lit(1.0).alias("rise"), (-pl.col("pack")).alias("dimension"), pl.lit(0.0).alias("aim"),
        pl.lit(None, dtype=pl.Float64).alias("aim_low"), pl.lit(None, dtype=pl.Float64).alias("aim_high"),
    )  # fmt: skip


def _case(
    setting: SettingHistory, request: Request, place: dict[str, Any], lines: pl.DataFrame, bearing: str, make: str,
    found: dict[str, Any],
) -> Case:  # fmt: skip
    aimed = lines.filter((pl.col("stage") == "trial") & (pl.col("trial") == 0)).row(0, named=True)
    as_found = lines.filter(pl.col("stage") == "as_found").row(0, named=True)
    sign, dimension = place["sign"], as_found["dimension"]
    points = 4 if place["quantity"] == "backlash" else 1
    error = setting.reading_error(place["quantity"], points) / aimed["rise"]

    def room(end: str) -> float | None:
        return None if aimed[end] is None else (aimed[end] - aimed["aim"]) / 1000

    return Case(
        family=request.family, place=place["place"], sign=sign, aim=aimed["aim"] / 1000, low=room("aim_low"),
        high=room("aim_high"), gear_set=_gear_set_word(setting, request), bearing=bearing, make=make,
        case_replaced=request.case_replaced, found=None if dimension is None else -sign * dimension / 1000,
        found_pack=None if as_found["pack"] is None else as_found["pack"] / 1000,
        found_make=found.get("make") or NOT_KNOWN, reading_error=error / 1000,
        moves_with_gear_set=place["coordinate"] == "shift",
    )  # fmt: skip


def _gear_set_word(setting: SettingHistory, request: Request) -> str:
    """Return kept or changed, or not known where the family's past jobs never name a gear set."""
    words = setting.visits.filter(pl.col("family") == request.family)["gear_set"].unique().to_list()
    return NOT_KNOWN if words == [NOT_KNOWN] else request.gear_set


def _after(predicted: FirstTry, case: Case, tried: pl.DataFrame) -> tuple[float, float, float] | None:
    """Weigh the past and the trials' readings by how sure each is: pack (mm) with the level's limits."""
    known = tried.filter(pl.col("needs").is_not_null())
    if known.is_empty() or case.reading_error <= 0:
        return None
    half = predicted.upper - predicted.estimate
    reach = half / predicted.deviation if predicted.deviation > 0 else 1.645
    weights = [1 / predicted.deviation**2, *([1 / case.reading_error**2] * known.height)]
    packs = [predicted.estimate, *(known["needs"] / 1000).to_list()]
    middle = float(np.average(packs, weights=weights))
    spread = reach / float(np.sqrt(sum(weights)))
    return middle, middle - spread, middle + spread


def _last(tried: pl.DataFrame) -> dict[str, Any] | None:
    known = tried.filter(pl.col("reading").is_not_null() | pl.col("end_play").is_not_null())
    return known.row(-1, named=True) if known.height else None


def day_of_teardown(setting: SettingHistory, job: str) -> dt.date | None:
    """Return the day on which a job was torn down, None for a job out of scope."""
    found = setting.visits.filter(pl.col("job") == job)["torn_down"]
    return found[0] if found.len() else None
