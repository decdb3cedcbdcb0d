"""Read which unit came in: a job on record, or clues given one by one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from analytics.expect_clues import Arrival, arrivals
from analytics.history import History
from analytics.question import Option, QuestionError
from analytics.typed_number import typed_number

COMPLAINTS = ("crunch", "baulks", "jumps_out", "whine", "rumble", "clunk", "leak", "locked", "vibration", "service")
WHENS = ("drive", "coast", "float", "turns", "cold", "hot", "take_up", "always")
DIRECTIONS = ("up", "down", "both")
TRACES = ("none", "trace", "marked", "heavy")
OPTIONS = (
    Option("job", "a job on record: everything known of it at arrival is taken from it"),
    Option("unit-family", "unit family, where no job is on record yet"),
    Option("complaint", "what it does", COMPLAINTS),
    Option("when", "when it shows", WHENS),
    Option("gear", "gear in which it shows"),
    Option("changing", "changing up or down", DIRECTIONS),
    Option("complaint-2", "what else it does", COMPLAINTS),
    Option("when-2", "when that shows", WHENS),
    Option("brass", "brass in the drained oil", TRACES),
    Option("steel", "steel in the drained oil", TRACES),
    Option("oil-changed", "the oil had been changed shortly before", ("yes", "no")),
    Option("km", "distance run, in km"),
    Option("duty", "what it does for a living", ("highway", "delivery", "tow", "off_road", "competition", "mixed")),
    Option("earlier-work", "evidence of earlier work", ("none", "ours", "others")),
)
_GIVEN = tuple(option.name for option in OPTIONS if option.name != "job")
_OPEN = """
select job from known_job where delivered is null and closed is null and torn_down is null and kind <> 'inspection'
order by opened desc, job desc limit 1
"""
_NEWEST = """
select job from known_job where kind in ('full_rebuild', 'part_rebuild') order by opened desc, job desc limit 1
"""


@dataclass(frozen=True)
class Request:
    """Hold the arrival asked about, its job where one is on record, and what was taken for granted."""

    arrival: Arrival
    job: str | None
    notes: tuple[str, ...] = ()


def read_request(history: History, options: Mapping[str, str]) -> Request | None:
    """Return what came in; the newest job not yet taken apart (or else the newest) where nothing is named.

    Raises QuestionError for a job, family or number that cannot be used.
    """
    given = {name: options[name] for name in _GIVEN if options.get(name)}
    job, notes = options.get("job") or None, []
    family = given.get("unit-family") or history.scope.family
    if job is None and family is None:
        if given:
            raise QuestionError("what-to-expect needs the unit family of these clues: name the unit family or the job")
        for sql, said in ((_OPEN, "the newest job not yet taken apart"), (_NEWEST, "the newest job on record")):
            found = history.query(sql)
            if found.height:
                job = str(found["job"][0])
                notes.append(f"Taken from {said}, {job}; name another job, or give clues one by one.")
                break
        else:
            return None
    arrival = _of_job(history, job) if job is not None else _of_family(history, str(family))
    return Request(_with_given(arrival, given), job, tuple(notes))


def _of_job(history: History, job: str) -> Arrival:
    found = arrivals(history, "j.job = $job", {"job": job})
    if found.is_empty():
        raise QuestionError(f"there is no job '{job}' on record on {history.as_of}")
    row = found.row(0, named=True)
    if row["family"] is None:
        raise QuestionError(f"the unit family of job '{job}' is not on record")
    names = ("family", "unit_kind", "oil_brass", "oil_steel", "oil_changed_recently", "km", "duty", "earlier_work")
    told = {name: row[name] for name in names}
    lists = {name: tuple(row[name] or ()) for name in ("complaints", "whens", "directions", "gears")}
    return Arrival(**{**told, **lists})


def _of_family(history: History, family: str) -> Arrival:
    found = history.query("select kind from known_family where family = $family", {"family": family})
    if found.is_empty():
        every = ", ".join(history.query("select family from known_family order by 1")["family"].to_list())
        raise QuestionError(f"there is no unit family '{family}' on record; there are {every}")
    return Arrival(family, found["kind"][0])


def _with_given(arrival: Arrival, given: Mapping[str, str]) -> Arrival:
    """Return the arrival with what was given in place of what is on record."""
    said = [(given[name], given.get(when)) for name, when in (("complaint", "when"), ("complaint-2", "when-2"))
            if name in given]  # fmt: skip
    changes: dict[str, object] = {}
    if said:
        changes["complaints"] = tuple(word for word, _ in said)
        changes["whens"] = tuple(f"{word}, {when}" for word, when in said if when)
        changes["directions"] = (f"{said[0][0]}, changing {given['changing']}",) if "changing" in given else ()
        changes["gears"] = (given["gear"],) if "gear" in given else ()
    for option, name in (
        ("brass", "oil_brass"),
        ("steel", "oil_steel"),
        ("duty", "duty"),
        ("earlier-work", "earlier_work"),
    ):
        if option in given:
            changes[name] = given[option]
    if "oil-changed" in given:
        changes["oil_changed_recently"] = given["oil-changed"] == "yes"
    if "km" in given:
        changes["km"] = typed_number(
            given["km"], "km", "a distance in km such as 180000", lambda km: 0 <= km <= 5_000_000
        )
    return replace(arrival, **changes)  # type: ignore[arg-type]
