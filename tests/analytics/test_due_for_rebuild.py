"""Units due: only from a register, never from what came in, and held against what earlier years brought."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pytest

from analytics.question import QuestionError
from analytics.questions import every_question
from analytics.scope import Scope
from tests.small_workshop import history, load_rows, shown

NEW = dt.date(2015, 1, 1)


def test_without_a_register_nothing_is_due(tmp_path: Path) -> None:
    units = [f"U{i}" for i in range(30)]
    folder = load_rows(
        tmp_path,
        {
            "family": [{"family": "K4", "kind": "gearbox"}],
            "position": [{"family": "K4", "position": "ring", "component": "synchroniser_ring"}],
            "unit": [
                {"unit": u, "family": "K4", "in_service_since": NEW, "lives_known_from_new": True} for u in units
            ],
            "job": [
                {"job": f"J{u}", "unit": u, "kind": "full_rebuild", "opened": dt.date(2018, 1, 1),
                 "unit_distance": 50_000 + 1000 * i, "odometer": 50_000, "usage_basis": "read"}
                for i, u in enumerate(units)
            ],
            "finding": [
                {"job": f"J{u}", "position": "ring", "grade": 3 if i % 3 else 1} for i, u in enumerate(units)
            ],
        },
    )  # fmt: skip
    answer = shown(folder, "due-for-rebuild", "--as-of", "2019-01-01")
    assert answer["rows"] == []
    assert answer["answer"] == (
        "No list of units due: no fleet's register says which units run, and among units that came in nothing is due."
    )


def test_the_demo_counts_what_came_in_earlier_years(clean_demo_folder: Path) -> None:
    answer = shown(clean_demo_folder, "due-for-rebuild", "--as-of", "2026-09-30")
    past = answer["curves"]["backtest"]
    assert len(past) == 20  # five years of four fleets
    inside = np.mean([row["low"] <= row["came"] <= row["high"] for row in past])
    assert inside >= 0.75  # of 20 counts of which 18 are expected inside
    error = np.mean([abs(row["expected"] - row["came"]) for row in past])
    plain = np.mean([abs(row["last_year"] - row["came"]) for row in past])
    assert error <= 1.1 * plain
    fleets = [row for row in answer["rows"] if row["unit"] is None]
    assert len(fleets) == 4
    for row in fleets:
        assert row["low"] <= row["expected"] <= row["high"]
    assert "Looking back" in answer["answer"]


def test_a_forecast_sees_only_what_was_known_on_its_day(clean_demo_folder: Path) -> None:
    """The look-back of a later day expects what was expected on the day itself; only the scatter rests on more."""
    question = every_question()["due-for-rebuild"]
    later = question.ask(history(clean_demo_folder, dt.date(2026, 9, 30)), {}).curves["backtest"]
    day = dt.date(2026, 9, 30) - dt.timedelta(days=3 * 365)
    then = question.ask(history(clean_demo_folder, day), {}).rows
    for row in then.filter(then["unit"].is_null()).iter_rows(named=True):
        held = later.filter((later["as_of"] == day) & (later["fleet"] == row["fleet"])).row(0, named=True)
        assert held["expected"] == row["expected"]


def test_other_filters_are_refused(clean_demo_folder: Path) -> None:
    question = every_question()["due-for-rebuild"]
    with pytest.raises(QuestionError, match="cannot be limited by 'duty'; it can by fleet"):
        question.ask(history(clean_demo_folder, dt.date(2026, 9, 30), duty="tow"), {})


def test_one_fleet_rests_on_the_forecasts_of_all_which_are_made_once(
    clean_demo_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    question, day = every_question()["due-for-rebuild"], dt.date(2026, 9, 30)
    asked = history(clean_demo_folder, day)
    every = question.ask(asked, {}).rows
    fleet = every["fleet"][0]
    afresh = question.ask(history(clean_demo_folder, day, fleet=fleet), {}).to_plain()
    made: list[dt.date] = []
    monkeypatch.setattr("analytics.due_for_rebuild.fleet_forecasts", lambda of, _: made.append(of.as_of) or ([], 0))
    again = question.ask(asked.within(Scope(fleet=fleet)), {})
    assert made == []
    assert again.to_plain() == afresh
    assert again.rows.equals(every.filter(every["fleet"] == fleet))
    question.ask(asked.on(day - dt.timedelta(days=1)), {})
    assert made == [day - dt.timedelta(days=1)]  # another day is another forecast
