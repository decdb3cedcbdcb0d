"""What the truth file says was planted is in the records, and what was left out is not."""

from __future__ import annotations

import tomllib
from typing import Any

import numpy as np
import polars as pl
import pytest

from demo_warehouse import DemoSummary, Workshop, play_workshop
from demo_warehouse.scenario import DEFAULT_SCENARIO
from demo_warehouse.toml_text import toml_text
from demo_warehouse.trouble import FittedPiece, chance_within, first_trouble, share_with_odds, threats_of


@pytest.fixture(scope="module")
def truth(messy: DemoSummary) -> dict[str, Any]:
    return tomllib.loads((messy.out / "truth.toml").read_text(encoding="utf-8"))


def test_bad_lot_is_fitted_often_enough_and_fails_more(truth: dict[str, Any], workshop: Workshop) -> None:
    lot = truth["bad_lot"]
    lines = workshop.records["part_line"].filter(pl.col("lot") == lot["lot"])
    assert lot["odds_ratio"] >= 8
    assert lot["fitted"] >= 60
    assert lines.filter(pl.col("movement") == "fitted").height >= lot["fitted"]
    back = len(lot["jobs_that_came_back_for_a_part"]) / len(lot["jobs"])
    others = workshop.records["job"].height - len(lot["jobs"])
    parts = [
        c for c in truth["comebacks"]["links"] if c["outcome"] == "part" and c["original_job"] not in set(lot["jobs"])
    ]
    assert back > 3 * len(parts) / others


def test_links_left_out_are_in_no_comeback_row(truth: dict[str, Any], workshop: Workshop) -> None:
    given = set(workshop.records["comeback"].select("original_job", "comeback_job").iter_rows())
    left_out = truth["comebacks"]["links_left_out"]
    assert len(left_out) >= 15
    for link in left_out:
        assert (link["original_job"], link["comeback_job"]) not in given
    links = [link for link in truth["comebacks"]["links"] if link["given"]]
    assert len(links) == workshop.records["comeback"].height


def test_chances_of_trouble_are_what_is_drawn(workshop: Workshop) -> None:
    pieces = [FittedPiece("2nd synchroniser ring", "synchroniser_ring", True)] * 3
    threats = threats_of(workshop.scenario, pieces, True, 0.0, False, "mixed")
    rng = np.random.default_rng(5)
    days = np.array([first_trouble(threats, 0, rng).day for _ in range(4000)])
    share = float(np.mean(days <= 12 * 30.4375))
    expected = chance_within(threats, 12)
    assert share == pytest.approx(expected, abs=4 * np.sqrt(expected * (1 - expected) / 4000))


def test_reused_sliders_multiply_what_is_ours_and_nothing_else(workshop: Workshop) -> None:
    plain = threats_of(workshop.scenario, [], False, 0.0, True, "mixed")
    reused = threats_of(workshop.scenario, [], True, 0.0, True, "mixed")
    for a, b in zip(plain, reused, strict=True):
        ratio = workshop.scenario.planted.slider_reused.hazard_ratio if a.outcome == "our_work" else 1.0
        assert b.hazard == pytest.approx(ratio * a.hazard)


def test_share_with_odds_of_one_is_the_share() -> None:
    assert share_with_odds(0.006, 1.0) == pytest.approx(0.006)
    assert share_with_odds(0.5, 3.0) == pytest.approx(0.75)


def test_one_suppliers_prices_rise_on_the_planted_day(workshop: Workshop) -> None:
    rise = workshop.scenario.planted.price_rise
    prices = workshop.records["price_list"].filter(pl.col("supplier") == rise.supplier).sort("part", "valid_from")
    before = prices.filter(pl.col("valid_from") < rise.on).group_by("part").last()
    after = prices.filter(pl.col("valid_from") == rise.on)
    ratio = before.join(after, on="part", suffix="_after").select(pl.col("cost_cents_after") / pl.col("cost_cents"))
    assert ratio.height > 20
    assert ratio.to_series().median() == pytest.approx(rise.factor, abs=0.005)


def test_two_parts_trend_and_one_job_kind_loses_money(truth: dict[str, Any], workshop: Workshop) -> None:
    jobs = workshop.records["job"].filter(pl.col("kind") == "full_rebuild").select("job", "opened")
    lines = workshop.records["part_line"].join(jobs, on="job")
    years = jobs.group_by(pl.col("opened").dt.year().alias("year")).len()
    for name, planted in truth["part_trends"].items():
        used = (
            lines.filter(pl.col("part") == planted["part"])
            .group_by(pl.col("opened").dt.year().alias("year"))
            .len("used")
        )
        share = years.join(used, on="year").sort("year").filter(pl.col("len") > 20)
        slope = np.polyfit(share["year"], np.log(share["used"] / share["len"]), 1, w=share["used"].sqrt())[0]
        assert np.exp(slope) == pytest.approx(planted["per_year"], abs=0.08), name
    below = truth["below_cost"]
    assert below["jobs"] >= 40
    assert below["price"] < 0.9 * below["cost"]


def test_one_technician_has_few_jobs_and_the_same_hazards(truth: dict[str, Any]) -> None:
    few = min(truth["technicians"], key=lambda t: t["jobs"])
    assert 3 <= len(truth["technicians"]) <= 5
    assert few["jobs"] < 60
    assert few["hazard_factor"] == 1.0


def test_most_private_units_are_seen_again_only_when_they_come_back(workshop: Workshop) -> None:
    records = workshop.records
    private = records["unit"].filter(pl.col("register_entry").is_null())["unit"]
    routine = records["sighting"].filter(pl.col("source") == "routine")["unit"].unique()
    followed = private.is_in(routine.implode()).mean()
    assert 0.1 < followed < 0.5


def test_nothing_planted_differs_in_what_is_planted_only() -> None:
    workshop = play_workshop(DEFAULT_SCENARIO.with_name("nothing_planted.toml"))
    planted = workshop.scenario.planted
    assert planted.bad_lot.odds_ratio == planted.slider_reused.hazard_ratio == planted.price_rise.factor == 1.0
    assert all(row["gauge_bias_um"] == 0 for row in workshop.world.realised.settings)
    assert workshop.records["job"].height > 1000


def test_toml_text_reads_back() -> None:
    tables = {"a": 1, "none": None, "b c": [1.5, True], "t": {"x": 'ü "q"', "list": [{"k": 1}, {"k": 2}]}}
    assert tomllib.loads(toml_text(tables)) == {"a": 1, "b c": [1.5, True], "t": tables["t"]}
