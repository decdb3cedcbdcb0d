"""Ask every question as of a day, and ask it of records from which everything dated later was deleted."""

from __future__ import annotations

import datetime as dt
import json
import random
from pathlib import Path
from typing import Any

import pytest

from analytics.history import History
from analytics.question import Question
from analytics.questions import every_question
from analytics.warehouse_file import open_warehouse
from tests.delete_the_future import load_without_future

FIRST, LAST = dt.date(2018, 1, 1), dt.date(2026, 8, 31)  # the demo runs from October 2016 to September 2026
SEED = 20_260_930


def _days(count: int) -> list[dt.date]:
    draw = random.Random(SEED)
    return [FIRST + dt.timedelta(days=draw.randrange((LAST - FIRST).days)) for _ in range(count)]


def _ask(question: Question, folder: Path, day: dt.date, every_choice: bool) -> list[dict[str, Any]]:
    """Return the answer, or those under every choice of the first option, without the version's number."""
    opened = open_warehouse(folder)
    try:
        told = []
        for given in _choices(question) if every_choice else [{}]:
            plain = question.ask(History(opened, day), question.chosen(given)).to_plain()
            del plain["warehouse_version"]
            told.append(json.loads(json.dumps(plain)))
        return told
    finally:
        opened.close()


def _choices(question: Question) -> list[dict[str, str]]:
    if not question.options or not question.options[0].choices:
        return [{}]
    return [{question.options[0].name: choice} for choice in question.options[0].choices]


def _differences(one: Any, other: Any, path: str = "") -> list[str]:
    """Return where two plain answers differ: floats by more than 1e-9 of their size, all else at all."""
    if isinstance(one, float) and isinstance(other, float):
        return [] if abs(one - other) <= 1e-9 * max(abs(one), abs(other), 1e-9) else [f"{path}: {one} and {other}"]
    if isinstance(one, dict) and isinstance(other, dict) and one.keys() == other.keys():
        return [d for key in one for d in _differences(one[key], other[key], f"{path}.{key}")]
    if isinstance(one, list) and isinstance(other, list) and len(one) == len(other):
        pairs = enumerate(zip(one, other, strict=True))
        return [d for place, (a, b) in pairs for d in _differences(a, b, f"{path}[{place}]")]
    if isinstance(one, list) and isinstance(other, list):
        return [f"{path}: {len(one)} entries and {len(other)}"]
    return [] if one == other else [f"{path}: {one!r} and {other!r}"]


# They say from where, who and when, not what.
NOT_COMPARED = {"source_id", "row_number", "customer", "settled_on", "cause_known"}
NAMED = {  # numbers hold within one version only: compare what they stand for
    **dict.fromkeys(("job_id", "started_by", "good_by"), "(select job from job as x where x.job_id = k.{})"),
    "unit_id": "(select unit from unit as x where x.unit_id = k.{})",
    "position_id": "(select family || position from position as x where x.position_id = k.{})",
}


def _known_rows(folder: Path, day: dt.date) -> dict[str, list[tuple[Any, ...]]]:
    """Return every record and mart as it was known on the day, sorted."""
    opened = open_warehouse(folder)
    try:
        columns = opened.query("select record, column_name from clock order by record, position")
        told = {}
        for (name,), part in columns.group_by("record", maintain_order=True):
            kept = [NAMED.get(c, "k.{}").format(c) for c in part["column_name"] if c not in NOT_COMPARED]
            rows = History(opened, day).query(f"select {', '.join(kept)} from known_{name} as k").rows()
            told[str(name)] = sorted(rows, key=repr)
        return told
    finally:
        opened.close()


def _check_tables(full: Path, day: dt.date, without: Path) -> None:
    one, other = _known_rows(full, day), _known_rows(without, day)
    odd = {}
    for name, rows in one.items():
        more, less = set(rows) - set(other[name]), set(other[name]) - set(rows)
        if more or less or len(rows) != len(other[name]):
            odd[name] = {
                "known to the full records": sorted(more, key=repr)[:3],
                "to the others": sorted(less, key=repr)[:3],
            }
    assert not odd, f"as of {day} these tables know the future: {odd}"


def _check(full: Path, day: dt.date, folder: Path, every_choice: bool) -> None:
    without = load_without_future(full, day, folder)
    _check_tables(full, day, without)
    odd = {}
    for name, question in every_question().items():
        found = _differences(_ask(question, full, day, every_choice), _ask(question, without, day, every_choice))
        if found:
            odd[name] = found[:5]
    assert not odd, f"as of {day} these answers know the future: {json.dumps(odd, indent=1)}"


@pytest.mark.parametrize("day", _days(1), ids=str)
def test_no_answer_knows_the_future(clean_demo_folder: Path, tmp_path: Path, day: dt.date) -> None:
    _check(clean_demo_folder, day, tmp_path, every_choice=False)


@pytest.mark.long
@pytest.mark.parametrize("day", _days(14)[1:], ids=str)
def test_no_answer_knows_the_future_on_more_days(clean_demo_folder: Path, tmp_path: Path, day: dt.date) -> None:
    _check(clean_demo_folder, day, tmp_path, every_choice=True)
