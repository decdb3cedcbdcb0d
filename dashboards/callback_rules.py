"""Let only what our pages send reach a callback: every argument of the shape that the callback takes."""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import dash
from flask import Flask, Response, request

from dashboards.every_page import NO_SECTION, section_at
from dashboards.said import said_sentence

ADDRESS = "/_dash-update-component"
NOT_OURS = "this request does not come from one of our pages"
_HALF_CHARACTER = re.compile("[\ud800-\udfff]")  # may stand in JSON, is no text


def refuse_forged_callbacks(app: dash.Dash) -> None:
    """Answer a callback request that none of our pages sends with a status and one sentence, and run nothing."""

    server: Flask = app.server

    @server.before_request
    def _check() -> Response | None:
        if request.path != ADDRESS or request.method != "POST":
            return None
        why = fault_of(_body(), app.callback_map)
        return Response(f"{said_sentence(why)}\n", status=400, mimetype="text/plain") if why else None


def fault_of(body: Any, callbacks: Mapping[str, Mapping[str, Any]]) -> str | None:
    """Return why a callback request is none of ours, or None where it is."""
    output = body.get("output") if isinstance(body, dict) else None
    declared = callbacks.get(output, {}) if isinstance(output, str) else {}
    if "callback" not in declared:  # also those that run in the browser
        return NOT_OURS
    outputs = declared["output"] if isinstance(declared["output"], list | tuple) else [declared["output"]]
    told = body.get("outputs")
    given = [
        (told if isinstance(told, list) else [told], [(one.component_id_str(), one.component_property) for one in outputs]),
        *((body.get(part, []), [(one["id"], one["property"]) for one in declared[part]]) for part in ("inputs", "state")),
    ]  # fmt: skip
    if not all(_match(arguments, taken) for arguments, taken in given) or not _changes(body.get("changedPropIds", [])):
        return NOT_OURS
    ids = [one["id"] for arguments, _ in given for one in arguments]
    if any(isinstance(one, dict) and section_at(one["section"]) is None for one in ids):
        return NO_SECTION
    return None if all(_is_taken(one) for arguments, _ in given[1:] for one in arguments) else NOT_OURS


def _body() -> Any:
    """Return what was sent, or None where it is no JSON or nested more deeply than can be read."""
    try:
        return request.get_json(silent=True)
    except RecursionError:
        return None


def _match(arguments: Any, taken: Sequence[tuple[str, str]]) -> bool:
    """Return whether what was sent names what the callback takes, in its order."""
    if not isinstance(arguments, list) or len(arguments) != len(taken):
        return False
    return all(_named(one) == (_name(name), prop) for one, (name, prop) in zip(arguments, taken, strict=True))


def _changes(changed: Any) -> bool:
    return isinstance(changed, list) and all(isinstance(one, str) for one in changed)


def _named(argument: Any) -> tuple[str, str] | None:
    """Return the part or id that an argument is about, and its property; None where it is no argument."""
    if not isinstance(argument, dict) or not isinstance(argument.get("property"), str):
        return None
    prop, told = argument["property"].partition("@")[0], argument.get("id")
    if isinstance(told, str):
        return told, prop
    if isinstance(told, dict) and set(told) == {"part", "section"} and all(map(_is_text, told.values())):
        return told["part"], prop
    return None


def _name(declared: str) -> str:
    """Return the id that a callback declares, or the part where it takes that part of any section."""
    return str(json.loads(declared)["part"]) if declared.startswith("{") else declared


def _is_taken(argument: Mapping[str, Any]) -> bool:
    name, prop = _named(argument) or ("", "")
    value = argument.get("value")
    return bool(value == argument["id"] if prop == "id" else TAKEN[name, prop](value))


def _is_text(value: Any) -> bool:
    return isinstance(value, str) and not _HALF_CHARACTER.search(value)


def _is_day(value: Any) -> bool:
    try:
        return _is_text(value) and bool(dt.date.fromisoformat(value))
    except ValueError:
        return False


def _or_nothing(check: Callable[[Any], bool]) -> Callable[[Any], bool]:
    return lambda value: value is None or check(value)


def _is_count(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def _holds(**checks: Callable[[Any], bool]) -> Callable[[Any], bool]:
    """Return a check for an object that holds these and nothing else."""
    return _or_nothing(
        lambda value: (
            isinstance(value, dict)
            and set(value) <= set(checks)
            and all(check(value.get(name)) for name, check in checks.items())
        )
    )


# What each callback takes by the part or id it comes from, and its property; the browser sends nothing as null.
TAKEN: Mapping[tuple[str, str], Callable[[Any], bool]] = {
    ("address", "pathname"): _or_nothing(_is_text),
    ("address", "search"): _or_nothing(_is_text),
    ("controls-asked", "data"): _holds(search=_is_text),
    ("asked", "data"): _holds(search=_is_text),
    ("picked", "data"): _holds(key=_is_text, search=_is_text, stamp=_or_nothing(_is_text)),
    ("alarm", "data"): _holds(chart=_is_text, raised=_is_day),
    ("note", "value"): _or_nothing(_is_text),
    ("note", "n_submit"): _or_nothing(_is_count),
    ("acknowledge", "n_clicks"): _or_nothing(_is_count),
}
