"""The questions about comebacks on the demo without defects: they find what was planted, and say no more than that."""

from __future__ import annotations

import datetime as dt
import re
import tomllib
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from analytics import watch
from analytics.answer import Answer
from analytics.bounded_cache import BoundedCache
from analytics.history import History
from analytics.question import QuestionError
from analytics.questions import every_question
from analytics.scope import Scope
from analytics.warehouse_file import open_warehouse
from analytics.watch import times_ordinary
from analytics.watch_acknowledged import Acknowledged, written_acknowledged
from analytics.watch_evidence import every_stream

AS_OF = dt.date(2026, 9, 30)
NAMES = ("watch", "compare", "goes-before-comebacks", "what-to-expect", "warranty-cost", "comebacks")
SLIDER = "slider reused with new rings"


@pytest.fixture(scope="module")
def demo(clean_demo_folder: Path) -> Iterator[History]:
    opened = open_warehouse(clean_demo_folder)
    yield History(opened, AS_OF)
    opened.close()


@pytest.fixture(scope="module")
def truth(clean_demo_folder: Path) -> dict[str, Any]:
    with (clean_demo_folder.parent / "clean-files" / "truth.toml").open("rb") as file:
        return tomllib.load(file)


def asked(demo: History, name: str, **options: str) -> Answer:
    question = every_question()[name]
    given = {option.replace("_", "-"): value for option, value in options.items()}
    return question.ask(demo, question.chosen(given))


@pytest.mark.parametrize("name", NAMES)
def test_every_answer_is_plain_has_a_method_and_counts_who_is_in(demo: History, name: str) -> None:
    answer = asked(demo, name)
    plain = answer.to_plain()
    assert plain["answer"].endswith(".")
    assert answer.method
    assert any(line.included is not None for line in answer.assumptions)
    assert {column.name for column in answer.columns} <= set(answer.rows.columns)


@pytest.mark.parametrize("name", NAMES)
def test_jobs_stand_behind_the_first_row(demo: History, name: str) -> None:
    question = every_question()[name]
    options = question.chosen({})
    row = question.ask(demo, options).rows.row(0, named=True)
    assert question.jobs_behind is not None
    jobs = question.jobs_behind(demo, {**options, **{k: str(v) for k, v in row.items() if v is not None}})
    assert jobs.height >= 1
    assert set(jobs.columns) == {
        "job",
        "unit",
        "family",
        "kind",
        "opened",
        "delivered",
        "technician",
        "fleet",
        "because",
    }


def test_the_rate_at_12_months_holds_the_planted_one(demo: History, truth: dict[str, Any]) -> None:
    row = asked(demo, "comebacks").rows.filter((pl.col("months") == 12) & ~pl.col("ours")).row(0, named=True)
    assert row["low"] <= truth["comebacks"]["expected_share"]["all_12"] <= row["high"]


def test_the_bad_lot_raises_an_alarm_within_a_dozen_comebacks(demo: History, truth: dict[str, Any]) -> None:
    lot = truth["bad_lot"]["lot"]
    answer = asked(demo, "watch")
    row = answer.rows.filter(pl.col("lot") == lot).row(0, named=True)
    back = demo.query(
        "select count(distinct original_job) as n from known_comeback_link where known_on <= $day and original_job in "
        "(select job from known_part_line where lot = $lot)",
        {"day": row["raised"], "lot": lot},
    )["n"][0]
    assert back <= 12
    assert row["raised"] < dt.date(2023, 9, 1)
    assert row["fitted"] == truth["bad_lot"]["fitted"]
    assert row["odds_low"] <= truth["bad_lot"]["odds_ratio"] <= row["odds_high"]
    out = answer.curves["still_out"].filter(pl.col("lot") == lot)
    assert out.height == row["still_out"]
    assert set(out["job"].to_list()) <= set(truth["bad_lot"]["jobs"])
    assert not set(out["job"].to_list()) & set(truth["bad_lot"]["jobs_that_came_back_for_a_part"])
    assert row["claim"] > 0


def test_the_watch_list_keeps_its_promise_on_shuffled_records(demo: History) -> None:
    found = asked(demo, "watch", shuffles="20").curves["placebo"].row(0, named=True)
    assert found["years"] == 160
    assert found["low"] <= found["promised"]


def test_the_watch_list_names_the_first_alarm_of_its_table(demo: History) -> None:
    answer = asked(demo, "watch", shuffles="0")
    assert f"First: {answer.rows['what'][0]}, since" in answer.sentence


def test_the_evidence_of_the_watch_list_is_gathered_once_for_every_acknowledgement(
    demo: History, monkeypatch: pytest.MonkeyPatch
) -> None:
    gathered = []

    def counted(*given: Any) -> Any:
        gathered.append(given)
        return every_stream(*given)

    monkeypatch.setattr(watch, "every_stream", counted)
    fresh = History(replace(demo.warehouse, kept_large=BoundedCache(6)), AS_OF)
    first = asked(fresh, "watch", shuffles="0").rows.row(0, named=True)
    text = written_acknowledged([Acknowledged(first["chart"], first["raised"], AS_OF, "seen to")])
    answer = asked(fresh, "watch", shuffles="0", acknowledged=text)
    assert answer.rows["acknowledged_on"].drop_nulls().to_list() == [AS_OF]
    assert len(gathered) == 1


@pytest.mark.parametrize("technician", ["JT", "LE", "MK", "OB", "RS"])
def test_a_narrowed_watch_list_has_no_alarm_of_one_event_and_shares_no_filter(demo: History, technician: str) -> None:
    narrowed = demo.within(Scope(technician=technician))
    rows = asked(narrowed, "watch", shuffles="0").rows
    assert (rows["seen"] >= 2).all()
    assert not any("technician" in text for text in rows["shares"].drop_nulls())


def test_how_many_times_the_ordinary_is_told_with_exact_limits_or_not_at_all() -> None:
    """5 seen: Poisson limits 1.623 to 11.668 (Garwood 1936), here over 2 to be expected."""
    assert times_ordinary(5, 2.0) == pytest.approx((2.5, 1.6235 / 2, 11.6683 / 2), abs=1e-4)
    assert times_ordinary(2, 0.004) == (None, None, None)


def test_what_is_too_few_is_never_rounded_up_to_what_is_enough(demo: History) -> None:
    early = [demo.on(day) for day in (dt.date(2017, 6, 1), dt.date(2018, 3, 31))]
    told = [
        asked(day, "compare", of=of).sentence for day in early for of in ("technician", "practice", "supplier", "lot")
    ]
    told += [
        asked(day, "goes-before-comebacks", of=of).sentence for day in early for of in ("comebacks", "found-together")
    ]
    assert sum(sentence.startswith("Too few") for sentence in told) >= 4
    for sentence in told:
        for have, need in re.findall(r"\(([\d.]+) of ([\d.]+) ", sentence) if sentence.startswith("Too few") else ():
            assert float(have) < float(need), sentence


def test_what_to_expect_says_which_filters_play_no_part(demo: History) -> None:
    by_family = asked(demo.within(Scope(family="K4")), "what-to-expect")
    assert not any("narrowed down" in note for note in by_family.notes)
    by_more = asked(demo.within(Scope(family="K4", technician="OB")), "what-to-expect")
    assert by_more.notes[0] == "All full strips count, whatever was narrowed down (technician OB)."


def test_an_acknowledged_alarm_goes_last_with_its_note(demo: History) -> None:
    plain = asked(demo, "watch", shuffles="0")
    assert not any("acknowledged" in note for note in plain.notes)
    first = plain.rows.row(0, named=True)
    text = written_acknowledged([Acknowledged(first["chart"], first["raised"], AS_OF, "seen to")])
    answer = asked(demo, "watch", shuffles="0", acknowledged=text)
    assert any(note.startswith("1 alarm acknowledged: the months from rise to ") for note in answer.notes)
    rows = answer.rows
    assert f"First: {rows['what'][0]}, since" in answer.sentence
    mine = rows.filter(pl.col("chart") == first["chart"]).row(0, named=True)
    assert (mine["note"], mine["acknowledged_on"]) == ("seen to", AS_OF)
    assert rows["acknowledged_on"].is_null().sum() == rows.height - 1
    assert rows["chart"][rows.height - 1] == first["chart"]


def test_reused_sliders_show_with_the_planted_ratio_in_their_interval(demo: History, truth: dict[str, Any]) -> None:
    planted = truth["slider_reused"]["hazard_ratio"]
    row = asked(demo, "compare", of="practice").rows.filter(pl.col("group") == SLIDER).row(0, named=True)
    assert row["low"] <= planted <= row["high"]
    row = asked(demo, "goes-before-comebacks").rows.filter(pl.col("mark") == SLIDER).row(0, named=True)
    assert row["low"] <= planted <= row["high"]
    assert row["stands_out"]


def test_no_technician_stands_out_since_none_differs(demo: History) -> None:
    rows = asked(demo, "compare", of="technician").rows
    assert set(rows["group"].to_list()) == {"MK", "RS", "JT", "OB", "LE"}
    assert not rows["stands_out"].any()
    assert rows["jobs_needed"].min() > 500


def test_shrunk_ratios_lie_between_raw_and_common(demo: History) -> None:
    rows = asked(demo, "compare", of="lot").rows.filter(pl.col("shrunk").is_not_null())
    wide = rows.filter((pl.col("shrunk") - 1).abs() > (pl.col("ratio") - 1).abs() + 0.6)
    assert wide.is_empty()


def test_clues_point_at_the_position_in_the_gear(demo: History) -> None:
    answer = asked(demo, "what-to-expect", unit_family="K5", complaint="crunch", when="cold", gear="3", brass="marked")
    top = answer.rows.row(0, named=True)
    assert top["position"] == "3rd synchroniser ring"
    assert top["probability"] > 3 * top["plain"]
    assert "crunch" in top["clues"]
    whine = asked(demo, "what-to-expect", unit_family="A7", complaint="whine", when="drive")
    assert whine.rows["position"][0] == "crown wheel and pinion"
    assert whine.curves["similar"].height > 0
    parts = whine.curves["parts"]
    assert parts["probability"].is_between(0, 1).all()


def test_expectations_come_true_and_beat_the_plain_frequency(demo: History) -> None:
    notes = " ".join(asked(demo, "what-to-expect").notes)
    assert "calibration slope" in notes
    assert "(hit " in notes
    bands = asked(demo, "what-to-expect").curves["bands"]
    worst = ((bands["stated"] - bands["happened"]).abs() - (bands["high"] - bands["low"])).max()
    assert worst < 0.02


@pytest.mark.parametrize(
    ("options", "why"),
    [
        ({"job": "NO-1"}, "no job 'NO-1'"),
        ({"unit_family": "Z9"}, "no unit family 'Z9'"),
        ({"complaint": "crunch"}, "needs the unit family of these clues: name the unit family or the job$"),
        ({"unit_family": "K5", "km": "far"}, "distance in km"),
        ({"unit_family": "K5", "km": "120,000"}, "not '120,000': write 120000 or 120$"),
    ],
)
def test_what_is_not_on_record_is_refused_in_words(demo: History, options: dict[str, str], why: str) -> None:
    with pytest.raises(QuestionError, match=why):
        asked(demo, "what-to-expect", **options)


def test_a_longer_warranty_costs_more_and_a_shorter_distance_less(demo: History) -> None:
    def cost(**options: str) -> float:
        return float(asked(demo, "warranty-cost", **options).rows["cost"][0])

    assert cost(months="6") < cost(months="12") < cost(months="24")
    assert cost(months="24", km="10000") < cost(months="24")
    with pytest.raises(QuestionError, match="up to 24"):
        cost(months="36")
    with pytest.raises(QuestionError, match=r"not '40\.000': write 40000 or 40$"):
        cost(months="24", km="40.000")
    assert cost(months="24", km="10 000,0") == cost(months="24", km="10000")


def test_a_family_of_its_own_can_be_asked(demo: History) -> None:
    scoped = History(demo.warehouse, AS_OF, demo.scope.__class__(family="T5 compact"))
    for name in ("watch", "compare", "goes-before-comebacks", "warranty-cost", "comebacks"):
        assert asked(scoped, name).filters == {"family": "T5 compact"}
