"""Read which unit is to be set: from an open job on record, from options, or from both."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from analytics.first_try_model import NOT_KNOWN
from analytics.history import History
from analytics.question import Option, QuestionError
from analytics.typed_number import typed_number

OPTIONS = (
    Option("job", "an open job: everything on record is taken from it"),
    Option("location", "only this shim location"),
    Option("gear-set", "gear set that goes in: the used one it came with, or a new one", ("used", "new")),
    Option("set-number", "number of the new gear set, for its markings"),
    Option("marked-depth-mm", "deviation of depth marked on the new gear set, in mm, as written on it"),
    Option("bearing", "bearing at the location", ("new", "used")),
    Option("bearing-maker", "maker of that bearing"),
    Option("casing", "casing kept or replaced", ("kept", "replaced")),
    Option("as-found-pack-mm", "pack as found, in mm (side packs: the left one less the right one)"),
    Option("as-found-reading-mm", "reading as found, in mm (preload: N.m)"),
    Option("trial-pack-mm", "pack of the last trial, in mm"),
    Option("trial-reading-mm", "reading of the last trial at the location, in mm (preload: N.m)"),
    Option("trial-end-play-mm", "end play of the last trial where nothing is preloaded yet, in mm"),
    Option("trial-backlash-mm", "backlash of the last trial, in mm"),
    Option("trial-depth-mm", "depth of the last trial, in mm"),
    Option("trial-torque-nm", "torque of the last trial, in N.m"),
)

_SETS = """
select set_number, family, if(coalesce(sign_rule, 'added') = 'added', marked_depth_um, -marked_depth_um) as marking,
  coalesce(sign_rule, 'added') as sign_rule, marked_backlash_um as marked_backlash, tooth_form,
  pitch_angle_mdeg / 1000.0 as pitch_angle, pressure_angle_mdeg / 1000.0 as pressure_angle,
  spiral_angle_mdeg / 1000.0 as spiral_angle
from known_gear_set
"""
_OPEN = """
select j.job from known_job as j
where j.torn_down is not null and j.closed is null and j.delivered is null
  and j.family in (select family from known_shim_location)
  and ($family is null or j.family = $family)
order by (j.job in (select job from known_measurement where stage = 'as_found')) desc, j.opened desc, j.job limit 1
"""
OF_ONE_LOCATION = ("as-found-pack-mm", "as-found-reading-mm", "trial-pack-mm", "trial-reading-mm")
MOST_READ = 1_000  # mm or N.m; no pack, reading or preload of these units comes near
MOST_MARKED_UM = 2_000  # as the field reference says of a marking
_ANGLES = ("tooth_form", "pitch_angle", "pressure_angle", "spiral_angle")


@dataclass(frozen=True)
class Request:
    """Hold the unit to set: lengths in um, torques in mN.m as in the records; None where not known.

    `found_pack`, `found_reading` and the trial figures given as options are for `location`. `notes` say what was
    taken for granted.
    """

    family: str
    job: str | None
    location: str | None
    gear_set: str
    bearing: str | None
    make: str
    case_replaced: bool
    marking: float | None
    marked_backlash: float | None
    angles: Mapping[str, Any]
    found_pack: float | None
    found_reading: float | None
    trial: Mapping[str, float]
    notes: tuple[str, ...]


def open_job(history: History, family: str | None) -> str | None:
    """Return the newest job that is torn down and not finished, one with readings as found before others."""
    found = history.query(_OPEN, {"family": family})
    return str(found["job"][0]) if found.height else None


def read_request(history: History, options: Mapping[str, str]) -> Request | None:
    """Return what is to be set; None where neither a family nor an open job is named and none is open.

    Raises QuestionError in one plain sentence for a job, family, location or number that cannot be used.
    """
    job = options.get("job")
    family = history.scope.family
    notes = []
    if job is None and not _numbers_given(options) and options.get("location") is None:
        job = open_job(history, family)
        if job is not None:
            notes.append(f"Taken from the newest open job, {job}; name another job to ask about that.")
    visit = _visit(history, job) if job is not None else {}
    family = visit.get("family") or family
    if family is None:
        if options.get("location") or _numbers_given(options):
            raise QuestionError("first-try-shims needs the unit family: name the unit family or the job")
        return None
    location = _location(options, family, _locations(history, family))
    set_row = _gear_set(history, family, visit, options)
    changed = _changed(visit, options)
    marking = set_row.get("marking")
    if options.get("marked-depth-mm") is not None:
        written = _number(options, "marked-depth-mm")
        if abs(written) > MOST_MARKED_UM:
            raise QuestionError(
                f"a marking of {options['marked-depth-mm']} mm cannot be: markings lie within "
                f"{MOST_MARKED_UM / 1000:g} mm either way; one written in hundredths has to be given in mm (30 as 0.30)"
            )
        marking = -written if set_row.get("sign_rule") == "subtracted" else written
        notes.append(
            f"The marking counts as {set_row.get('sign_rule') or 'added'}, as on the sets of {family} on record."
        )
    return Request(
        family=family, job=job, location=location, gear_set="changed" if changed else "kept",
        bearing=options.get("bearing"), make=options.get("bearing-maker") or NOT_KNOWN,
        case_replaced=options.get("casing", "replaced" if visit.get("case_replaced") else "kept") == "replaced",
        marking=marking, marked_backlash=set_row.get("marked_backlash"),
        angles={name: set_row.get(name) for name in _ANGLES},
        found_pack=_optional(options, "as-found-pack-mm"), found_reading=_optional(options, "as-found-reading-mm"),
        trial={name: _number(options, name) for name in options if name.startswith("trial-") and options[name]},
        notes=tuple(notes),
    )  # fmt: skip


def _numbers_given(options: Mapping[str, str]) -> bool:
    return any(name.endswith(("-mm", "-nm")) for name in options)


def _visit(history: History, job: str) -> dict[str, Any]:
    found = history.query(
        "select job, family, gear_set_found, gear_set_built, coalesce(case_replaced, false) as case_replaced "
        "from known_job where job = $job",
        {"job": job},
    )
    if found.is_empty():
        raise QuestionError(f"there is no job '{job}' on record on {history.as_of}")
    return found.row(0, named=True)


def _locations(history: History, family: str) -> list[str]:
    """Return the shim locations of a family; raises QuestionError where it has none on record."""
    places = history.query("select family, location from known_shim_location order by 1, 2")
    families = places["family"].unique().sort().to_list()
    if family not in families:
        raise QuestionError(f"'{family}' has no shim location on record; families that have: {', '.join(families)}")
    return places.filter(pl.col("family") == family)["location"].to_list()


def _location(options: Mapping[str, str], family: str, known: list[str]) -> str | None:
    """Return the location asked about; where none is named but a figure of one is given, the only one there is.

    Raises QuestionError where the family does not have it, or where a figure may be of several.
    """
    location = options.get("location")
    if location:
        if location not in known:
            raise QuestionError(f"{family} has no shim location '{location}'; it has {', '.join(known)}")
        return location
    given = [name for name in OF_ONE_LOCATION if options.get(name)]
    if not given:
        return None
    if len(known) > 1:
        raise QuestionError(
            f"{' and '.join(given)} {'is' if len(given) == 1 else 'are'} of one location, and {family} has several: "
            f"name the location, one of {', '.join(known)}"
        )
    return known[0]


def _gear_set(history: History, family: str, visit: dict[str, Any], options: Mapping[str, str]) -> dict[str, Any]:
    """Return the gear set that goes in; without one, what the family's sets have in common."""
    number = options.get("set-number") or visit.get("gear_set_built") or visit.get("gear_set_found")
    sets = history.query(f"select * from ({_SETS}) where family = $family order by set_number", {"family": family})
    if number is not None:
        own = sets.filter(pl.col("set_number") == number)
        if own.height:
            return own.row(0, named=True)
        if options.get("set-number"):
            raise QuestionError(f"there is no gear set '{number}' of {family} on record: give marked-depth-mm")
    if sets.is_empty():
        return {}
    common = {name: sets[name].drop_nulls().mode().sort() for name in ("sign_rule", *_ANGLES)}
    return {name: values[0] for name, values in common.items() if values.len()}


def _changed(visit: dict[str, Any], options: Mapping[str, str]) -> bool:
    if options.get("gear-set") is not None:
        return options["gear-set"] == "new"
    if options.get("set-number") or options.get("marked-depth-mm"):
        return options.get("set-number") != visit.get("gear_set_found")
    found, built = visit.get("gear_set_found"), visit.get("gear_set_built")
    return found is not None and built is not None and found != built


def _number(options: Mapping[str, str], name: str) -> float:
    """Return an option in thousandths (um or mN.m)."""
    return 1000 * typed_number(options[name], name, "a number such as 1.25", lambda value: abs(value) < MOST_READ)


def _optional(options: Mapping[str, str], name: str) -> float | None:
    return _number(options, name) if options.get(name) else None
