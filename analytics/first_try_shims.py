"""Answer: which shims to try first on this unit, and what to change after a trial?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import polars as pl

from analytics.answer import Answer, Assumption, Column
from analytics.estimators.ring_gear_backlash import backlash_per_ring_shift
from analytics.estimators.shim_pieces import ShimStack
from analytics.first_try_backtest import Replay
from analytics.first_try_places import PlaceAnswer, place_answers
from analytics.first_try_replayed import COLUMNS as REPLAY_COLUMNS
from analytics.first_try_replayed import SCHEMA as REPLAY_SCHEMA
from analytics.first_try_replayed import replay_ledger, replay_notes, replay_of, replay_row
from analytics.first_try_request import OPTIONS, Request, read_request
from analytics.history import History
from analytics.next_correction import joint_sentence
from analytics.question import Question, QuestionError
from analytics.scope import Scope
from analytics.set_target import Target
from analytics.setting_history import NEWEST_JOBS, SettingHistory
from analytics.setting_jobs import jobs_of_rows
from analytics.shelf import shelf_of, stack_from_shelf, stack_in_words
from analytics.wording import count_of, day

LEVEL = 0.90
CAUTIONS = (
    "A starting point for a qualified technician who measures: the unit maker's service data and local rules come "
    "first. Read depth, backlash, preload and the contact pattern again after every change.",
    "Drivelines are heavy and store force: support the unit, keep hands clear of turning gears, and never run it on a "
    "setting that was not measured.",
)
METHOD = (
    "The pack found, plus what jobs treated alike needed beside it (bearing new or used, its make, casing, gear set), "
    "the target taken from the specification; hierarchical normal model, 90 % prediction interval. Pack needed = "
    "pack fitted + (target - reading) / response: a counterfactual, not a record. After a trial, past and readings are "
    "weighed by how sure each is. Pieces: exact search of the shelf, fewest pieces within limits."
)
_SCHEMA: dict[str, pl.DataType | type[pl.DataType]] = {
    "family": pl.String, "location": pl.String, "quantity": pl.String, "pack_um": pl.Float64, "pack_low": pl.Float64,
    "pack_high": pl.Float64, "found_um": pl.Float64, "pieces": pl.String, "pieces_um": pl.Float64,
    "target": pl.Float64, "lower": pl.Float64, "upper": pl.Float64, "rests_on": pl.String, "jobs": pl.Int64,
    "family_jobs": pl.Int64, "alike": pl.String, "next_um": pl.Float64, "next_low": pl.Float64, "next_high": pl.Float64,
    **REPLAY_SCHEMA, "said": pl.String,
}  # fmt: skip


def first_try_shims(history: History, options: Mapping[str, str]) -> Answer:
    """Return the pack to try at each location of one unit, with its interval, the shelf's pieces and a replay.

    Rows: family, location, quantity; pack_um with 90 % limits, found_um; pieces (words) and pieces_um from the stock
    on hand; target, lower, upper (mm, N.m for a torque), rests_on; jobs (used), family_jobs, alike (which jobs count);
    next_um with limits (after the trials so far); replayed jobs and the share within limits at first try: first_ours,
    first_done (by the technicians), first_as_found, first_average; worst_ours and worst_half_year (the half-year in
    which ours was least often right); covered (share of packs needed inside their interval), width_um (of the
    intervals), error_um and error_as_found_um (mean distance from the pack needed); said (words where there is no
    answer). Raises QuestionError for what cannot be read.
    """
    request = read_request(history, options)
    if request is None:
        return _nothing(history)
    setting = _setting(history, request)
    answers = place_answers(setting, request, LEVEL)
    replays = {
        answer.place["place"]: replay_of(setting, answer, LEVEL)
        for answer in answers
        if answer.predicted is not None and answer.place["coordinate"] != "total"
    }
    rows = [row for answer in answers for row in _rows(setting, request, answer, answers, replays)]
    table = pl.DataFrame(rows, schema=_SCHEMA)
    sentence, number, about = _sentence(request, table)
    return Answer(
        question="first-try-shims",
        as_of=history.as_of,
        warehouse_version=history.warehouse.version,
        filters=history.scope.filters(),
        sentence=sentence,
        number=number,
        number_about=about,
        method=METHOD,
        grain="one row per shim location of the unit",
        rows=table,
        columns=_COLUMNS,
        notes=_notes(setting, request, answers, replays),
        assumptions=(*setting.counted(), *_ledger(answers, table)),
        curves={"contact_pattern": _patterns(history, request)},
    )


def _setting(history: History, request: Request) -> SettingHistory:
    """Return the newest jobs' setting; all jobs' where the job asked about is older than those."""
    newest = SettingHistory(history.within(Scope()), None, NEWEST_JOBS)
    if request.job is None or newest.after is None or request.job in newest.visits["job"]:
        return newest
    return SettingHistory(history.within(Scope()), None)


def _nothing(history: History) -> Answer:
    return Answer(
        question="first-try-shims", as_of=history.as_of, warehouse_version=history.warehouse.version,
        filters=history.scope.filters(), method=METHOD, grain="one row per shim location of the unit",
        sentence="No job is open with anything to set: name a unit family or a job.",
        rows=pl.DataFrame(schema=_SCHEMA), columns=_COLUMNS, notes=CAUTIONS,
        curves={"contact_pattern": pl.DataFrame(schema=_PATTERN_SCHEMA)},
    )  # fmt: skip


def _rows(
    setting: SettingHistory,
    request: Request,
    answer: PlaceAnswer,
    answers: tuple[PlaceAnswer, ...],
    replays: Mapping[str, Replay],
) -> list[dict[str, Any]]:
    """Return the row of one place; a pair of side packs becomes its two locations, told with the sum."""
    coordinate = answer.place["coordinate"]
    if coordinate == "pack":
        return [_row(setting, request, answer, replays)]
    if coordinate == "total":
        return []
    total = next(a for a in answers if a.place["coordinate"] == "total")
    if answer.predicted is None or total.predicted is None:
        said = answer.said or total.said
        return [_said(request, answer, location, said) for location in _sides(answer)]
    return _side_rows(setting, request, answer, total, replays)


def _sides(answer: PlaceAnswer) -> tuple[str, str]:
    return answer.place["location"], answer.place["other"]


def _said(request: Request, answer: PlaceAnswer, location: str, said: str | None) -> dict[str, Any]:
    row = {"family": request.family, "location": location, "quantity": answer.place["quantity"], "said": said}
    return row | _aimed(answer.target)


def _aimed(target: Target | None) -> dict[str, Any]:
    if target is None:
        return {}
    ends = {name: getattr(target, name) for name in ("target", "lower", "upper")}
    return {name: None if end is None else end / 1000 for name, end in ends.items()} | {"rests_on": target.rests_on}


def _row(
    setting: SettingHistory, request: Request, answer: PlaceAnswer, replays: Mapping[str, Replay]
) -> dict[str, Any]:
    place, found, case = answer.place, answer.predicted, answer.case
    base = _said(request, answer, place["location"], answer.said)
    if found is None or case is None:
        return base
    shelf = shelf_of(setting.shelf, request.family, place["location"])
    pack = 1000 * (found.estimate if answer.after_trials is None else answer.after_trials[0])
    if case.found_pack is not None and case.found_pack < 0:
        raise QuestionError(f"a pack of {case.found_pack:.3f} mm as found {place['location']} cannot be")
    if not _can_sit(pack, place):
        return base | {"said": _cannot_sit(pack, place)}
    low, high = (None if end is None else pack + 1000 * end for end in (case.low, case.high))
    pieces = _pieces(shelf, pack, low, high, place)
    return base | _figures(answer) | pieces | replay_row(replays[place["place"]])


def _can_sit(pack_um: float, place: Mapping[str, Any]) -> bool:
    return max(place["thinnest_um"] or 0, 0) <= pack_um <= (place["thickest_um"] or 60_000)


def _cannot_sit(pack_um: float, place: Mapping[str, Any]) -> str:
    """Say that what history asks for is no pack of this place, so that something given or on record must be wrong."""
    low, high = (place["thinnest_um"] or 0) / 1000, (place["thickest_um"] or 60_000) / 1000
    return (
        f"no pack to try: what is given would want {pack_um / 1000:.3f} mm, but {low:.3f} to {high:.3f} mm sits there; "
        "check the marking, the pack and the readings"
    )


def _figures(answer: PlaceAnswer) -> dict[str, Any]:
    found, case, after = answer.predicted, answer.case, answer.after_trials
    assert found is not None
    assert case is not None
    row = {
        "pack_um": 1000 * found.estimate, "pack_low": 1000 * found.lower, "pack_high": 1000 * found.upper,
        "found_um": None if case.found_pack is None else 1000 * case.found_pack, "jobs": found.jobs,
        "family_jobs": found.family_jobs, "alike": found.alike,
    }  # fmt: skip
    if after is not None:
        row |= {"next_um": 1000 * after[0], "next_low": 1000 * after[1], "next_high": 1000 * after[2]}
    return row


def _pieces(shelf: Any, pack: float, low: float | None, high: float | None, place: dict[str, Any]) -> dict[str, Any]:
    if not shelf.pieces:
        return {"pieces": "no thicknesses are listed for this location"}
    room = max(1, round((place["step_um"] or 50) / 2))
    stack = stack_from_shelf(shelf, pack, low, high, place["stackable"], room)
    if isinstance(stack, ShimStack):
        return {"pieces": stack_in_words(stack), "pieces_um": float(stack.total)}
    one = "one piece" if not place["stackable"] else "the pieces on hand"
    nearest = "" if stack.nearest is None else f"; nearest {stack_in_words(stack.nearest)}"
    return {"pieces": f"none can be made from {one}{nearest}"}


def _side_rows(
    setting: SettingHistory, request: Request, ring: PlaceAnswer, total: PlaceAnswer, replays: Mapping[str, Replay]
) -> list[dict[str, Any]]:
    """Turn ring shift and sum into the two side packs: half the sum, the shift added on one and taken off the other."""
    assert ring.predicted is not None
    assert total.predicted is not None
    both = _figures(ring) | replay_row(replays[ring.place["place"]])
    rows = []
    for location, side in zip(_sides(ring), (1, -1), strict=True):
        half, shift = 500 * total.predicted.estimate, 1000 * ring.predicted.estimate
        reach = 1000 * (ring.predicted.upper - ring.predicted.lower) / 2
        row = _said(request, ring, location, None) | both
        row |= {"pack_um": half + side * shift, "pack_low": half + side * shift - reach}
        row |= {"pack_high": half + side * shift + reach, "found_um": _found_side(ring, total, side)}
        if ring.after_trials is not None:
            middle, low, high = (1000 * end for end in ring.after_trials)
            ends = sorted((side * low, side * high))
            row |= {"next_um": half + side * middle, "next_low": half + ends[0], "next_high": half + ends[1]}
        wanted = row["pack_um"] if ring.after_trials is None else row["next_um"]
        if not _can_sit(wanted, ring.place):
            rows.append(_said(request, ring, location, _cannot_sit(wanted, ring.place)))
            continue
        rows.append(row | _pieces(shelf_of(setting.shelf, request.family, location), wanted, None, None, ring.place))
    return rows


def _found_side(ring: PlaceAnswer, total: PlaceAnswer, side: int) -> float | None:
    if ring.case is None or total.case is None or ring.case.found_pack is None or total.case.found_pack is None:
        return None
    return 500 * total.case.found_pack + side * 1000 * ring.case.found_pack


def _sentence(request: Request, table: pl.DataFrame) -> tuple[str, str, str]:
    unit = f"{request.family}{f', job {request.job}' if request.job else ''}"
    told = table.filter(pl.col("pack_um").is_not_null())
    if table.is_empty():
        return f"{unit} has nothing to shim on record.", "", ""
    if told.is_empty():
        return f"{unit}: {table['said'].drop_nulls()[0]}.", "", ""
    parts = []
    for row in told.iter_rows(named=True):
        after = row["next_um"] is not None
        pack, low, high = (row[f"{'next' if after else 'pack'}_{end}"] / 1000 for end in ("um", "low", "high"))
        parts.append(f"{row['location']} {pack:.3f} mm ({low:.3f} to {high:.3f})")
    first = told.row(0, named=True)
    lead = "After the trial on record try" if first["next_um"] is not None else "Try first"
    pack = first["next_um"] if first["next_um"] is not None else first["pack_um"]
    return f"{lead} on {unit}: {'; '.join(parts)}.", f"{pack / 1000:.3f} mm", f"{first['location']}, {request.family}"


def _notes(
    setting: SettingHistory, request: Request, answers: tuple[PlaceAnswer, ...], replays: Mapping[str, Replay]
) -> tuple[str, ...]:
    angles = request.angles
    opens = None
    if angles.get("pitch_angle") and angles.get("pressure_angle"):
        # Seen from the pinion: its own pitch angle is what the wheel's leaves of the right angle.
        opens = backlash_per_ring_shift(
            90 - angles["pitch_angle"], angles["pressure_angle"], angles["spiral_angle"] or 0.0
        )
    joint = joint_sentence(answers, opens)
    notes = [*([joint] if joint else []), *replay_notes(replays)]
    bearings = sorted({a.case.bearing for a in answers if a.case is not None})
    if request.bearing is None and bearings:
        notes.append(f"Bearings taken as {', '.join(bearings)}: say otherwise with --bearing used or new.")
    if any(a.place["quantity"].endswith("torque") and a.predicted for a in answers):
        notes.append("Preload: read slowly turning, oiled, as the specification says of the seals.")
    if any(a.case is not None and a.case.found is None for a in answers):
        notes.append("Where pack and reading as found are not given, the interval is that of the whole family.")
    counted = setting.shelf.filter(pl.col("family") == request.family)["counted_on"].drop_nulls()
    notes.append(f"Stock as counted on {day(counted.max())}." if counted.len() else "No stock count is on record.")  # type: ignore[arg-type]
    return (*notes, *request.notes, *CAUTIONS)


def _ledger(answers: tuple[PlaceAnswer, ...], table: pl.DataFrame) -> tuple[Assumption, ...]:
    lines = []
    for answer in answers:
        if answer.predicted is None:
            continue
        found = answer.predicted
        lines.append(Assumption(f"{answer.place['place']}: past jobs counted ({found.alike})", found.jobs, None))
    return (*lines, *replay_ledger(table))


_PATTERN_SCHEMA = {
    "trial": pl.Int32, "drive_lengthwise": pl.String, "drive_profile": pl.String, "coast_lengthwise": pl.String,
    "coast_profile": pl.String, "passed": pl.Boolean,
}  # fmt: skip


def _patterns(history: History, request: Request) -> pl.DataFrame:
    """Return the contact patterns that the job's trials left on record."""
    return history.query(
        "select trial, drive_lengthwise, drive_profile, coast_lengthwise, coast_profile, passed "
        "from known_contact_pattern where job = $job order by trial",
        {"job": request.job or ""},
    )


_COLUMNS = (
    Column("location", "Location"),
    Column("pack_um", "Try first", "pack", "um"),
    Column("pack_low", "from", "lower 90 % limit", "um"),
    Column("pack_high", "to", "upper 90 % limit", "um"),
    Column("said", "If no answer"),
    Column("found_um", "As found", "pack as found", "um"),
    Column("pieces", "Pieces on hand", "fewest within limits for the pack to try next, in mm"),
    Column("pieces_um", "They make", "", "um"),
    Column("next_um", "After the trial", "pack that past and trial readings together point to", "um"),
    Column("next_low", "from", "lower 90 % limit", "um"),
    Column("next_high", "to", "upper 90 % limit", "um"),
    Column("target", "Aim", "reading aimed at: mm, preload N.m"),
    Column("lower", "Lower limit", "mm, preload N.m"),
    Column("upper", "Upper limit", "mm, preload N.m"),
    Column("rests_on", "The aim is"),
    Column("family_jobs", "Jobs", "past jobs of this family and location that count"),
    Column("alike", "Which jobs count"),
    *REPLAY_COLUMNS,
)


def _jobs_behind(history: History, row: Mapping[str, str]) -> pl.DataFrame:
    setting = SettingHistory(history.within(Scope()), row.get("family"))
    location = row.get("location", "")
    rows = setting.packs_needed.filter(
        ((pl.col("location") == location) | (pl.col("other") == location)) & (pl.col("coordinate") != "total")
        & pl.col("dimension").is_not_null() & pl.col("aim").is_not_null()
    )  # fmt: skip
    told = [
        f"{place}: needed {(aim - dimension) / 1000:.3f} mm, {count_of(trials or 0, 'trial')}"
        for place, aim, dimension, trials in rows.select("place", "aim", "dimension", "trials").iter_rows()
    ]
    return jobs_of_rows(history, rows.select("job", pl.Series("because", told, dtype=pl.String)))


FIRST_TRY_SHIMS = Question(
    name="first-try-shims",
    about="The shims to try first on a unit, from its own readings and jobs alike, and the next change after a trial",
    for_whom="lead technician",
    ask=first_try_shims,
    options=OPTIONS,
    jobs_behind=_jobs_behind,
)
