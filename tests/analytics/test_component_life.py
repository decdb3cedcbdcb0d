"""Component life in words and numbers: degenerate records get a sentence, and the demo's planted lives are found."""

from __future__ import annotations

import datetime as dt
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest

from analytics.component_lives import lives_that_came_in
from analytics.life_counts import counted_lives
from analytics.questions import every_question
from tests.small_workshop import history, load_rows, shown

NEW, SEEN = dt.date(2015, 1, 1), dt.date(2018, 1, 1)
WORN, SOUND = 3, 1


def _load(folder: Path, looks: Sequence[tuple[float | None, int]], families: Sequence[str] = ("K4",)) -> Path:
    """Load one unit a look (unit distance in km, grade), families taken in turn."""
    units = [f"U{i:04d}" for i in range(len(looks))]
    return load_rows(
        folder,
        {
            "family": [{"family": f, "kind": "gearbox"} for f in families],
            "position": [{"family": f, "position": "2nd ring", "component": "synchroniser_ring"} for f in families],
            "unit": [
                {"unit": u, "family": families[i % len(families)], "in_service_since": NEW,
                 "lives_known_from_new": True}
                for i, u in enumerate(units)
            ],
            "job": [
                {"job": f"J{u}", "unit": u, "kind": "full_rebuild", "opened": SEEN, "torn_down": SEEN,
                 "closed": SEEN, "unit_distance": km, "odometer": km,
                 "usage_basis": "unknown" if km is None else "read", "duty": "tow"}
                for u, (km, _) in zip(units, looks, strict=True)
            ],
            "finding": [
                {"job": f"J{u}", "position": "2nd ring", "grade": grade}
                for u, (_, grade) in zip(units, looks, strict=True)
            ],
        },
    )  # fmt: skip


def _asked(folder: Path, *more: str) -> dict[str, Any]:
    return shown(folder, "component-life", "--as-of", "2019-01-01", *more)


DEGENERATE = {
    "all failed": ([(50_000 + 1000 * i, WORN) for i in range(12)], "too few to say (12 of 12 failed)"),
    "none failed": ([(50_000 + 1000 * i, SOUND) for i in range(12)], "none of 12 worn"),
    "one inspection": ([(50_000, WORN)], "too few to say (1 of 1 failed)"),
    "ties": ([(50_000, WORN), (50_000, SOUND)] * 10, "too few to say (10 of 20 failed)"),
    "failed not older than sound": (
        [(50_000 + i, WORN) for i in range(8)] + [(90_000 + i, SOUND) for i in range(8)], "too few to say"
    ),
}  # fmt: skip


@pytest.mark.parametrize(("looks", "sentence"), DEGENERATE.values(), ids=DEGENERATE)
def test_degenerate_records_get_a_plain_sentence(
    tmp_path: Path, looks: list[tuple[float | None, int]], sentence: str
) -> None:
    answer = _asked(_load(tmp_path, looks))
    assert sentence in answer["answer"]
    (row,) = answer["rows"]
    assert row["lives"] == len(looks)
    assert row["b10"] is None


@pytest.mark.parametrize(("km", "reason"), [(None, "distance at the visit not known"), (0, "had run no distance")])
def test_unusable_distances_are_left_out_and_counted(tmp_path: Path, km: float | None, reason: str) -> None:
    answer = _asked(_load(tmp_path, [(km, WORN if km is None else SOUND)] * 3))
    assert answer["answer"] == "No component life is known in this scope; what was left out stands below."
    assert [(row["reason"], row["left_out"]) for row in answer["curves"]["excluded"]] == [(reason, 3)]


def _looks(number: int, seed: int, scale: float = 150_000.0) -> list[tuple[float | None, int]]:
    rng = np.random.default_rng(seed)
    lives, seen = scale * rng.weibull(2.5, number), np.round(scale * np.exp(0.5 * rng.standard_normal(number)))
    return [(float(km), WORN if life <= km else SOUND) for life, km in zip(lives, seen, strict=True)]


def test_the_sentence_is_the_workshops(tmp_path: Path) -> None:
    answer = _asked(_load(tmp_path, _looks(212, 7)), "--duty", "tow")
    assert answer["answer"].startswith("Among units that came in, half of 2nd rings of K4 in tow duty are worn by 1")
    assert answer["answer"].endswith("worn.")
    assert "from 212 lives" in answer["answer"]
    (row,) = answer["rows"]
    assert row["b10_low"] < row["b10"] < row["b10_high"] < row["median"]
    assert {"steps", "fitted", "paper", "models", "excluded"} == set(answer["curves"])


def test_a_place_with_few_worn_borrows_the_spread_of_its_kind(tmp_path: Path) -> None:
    many, few = _looks(120, 3), [(60_000.0 + 500 * i, WORN if i in (20, 30) else SOUND) for i in range(40)]
    looks = [look for pair in zip(many, [*few, *[(20_000.0, SOUND)] * 80], strict=True) for look in pair]
    answer = _asked(_load(tmp_path, looks, ("K4", "K5")))
    row = next(r for r in answer["rows"] if r["family"] == "K5")
    assert row["worn"] == 2
    assert row["spread"] == "lent by its kind"
    assert "the spread of lives is lent by 2 places of this component" in row["said"]
    assert row["b10_low"] < row["b10"] < row["b10_high"]


def test_counting_in_bins_moves_b10_by_less_than_a_thousandth(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = _load(tmp_path, _looks(400, 11))
    singly = _asked(folder)["rows"][0]
    monkeypatch.setattr("analytics.life_counts.MANY", 1)
    binned = _asked(folder)["rows"][0]
    assert counted_lives(history(folder, dt.date(2019, 1, 1)), "position", "all") is not None
    assert binned["lives"] == singly["lives"] == 400
    for name in ("b10", "b10_low", "b10_high", "median"):
        assert binned[name] == pytest.approx(singly[name], rel=1e-3)


def test_lives_counted_in_bins_keep_to_where_they_began(
    clean_demo_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Lives from new and of parts fitted here, counted, are as many at every place as taken singly, and together all."""
    question, day = every_question()["component-life"], history(clean_demo_folder, dt.date(2026, 9, 30))

    def lives(begun: str) -> dict[tuple[str, str], int]:
        rows = question.ask(day, question.chosen({"population": "came_in", "lives": begun})).rows
        return {
            (family, position): number for family, position, number in rows.select("family", "position", "lives").rows()
        }

    singly = {begun: lives(begun) for begun in ("from_new", "fitted_here", "all")}
    monkeypatch.setattr("analytics.life_counts.MANY", 1)
    assert {begun: lives(begun) for begun in singly} == singly
    assert sum(singly["from_new"].values()) + sum(singly["fitted_here"].values()) == sum(singly["all"].values()) > 0
    assert min(len(singly[begun]) for begun in ("from_new", "fitted_here")) > 0


def test_lives_counted_from_the_mart_are_the_lives_taken_singly(
    clean_demo_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Kind by kind at every position, and their ages in sum, on two days; widths of bins as METHODS.md says."""
    monkeypatch.setattr("analytics.life_counts.MANY", 1)
    for day in (dt.date(2026, 9, 30), dt.date(2022, 3, 1)):
        counted = counted_lives(history(clean_demo_folder, day), "position", "all")
        assert counted is not None
        singly = lives_that_came_in(history(clean_demo_folder, day)).rows
        keys = ["family", "position", "kind"]
        ages = [pl.col("lower").sum(), pl.col("upper").sum()]
        told = counted.rows.group_by(keys).agg(
            pl.col("count").sum().cast(pl.UInt32).alias("n"), *(pl.col(c).dot("count") for c in ("lower", "upper"))
        )
        both = told.join(singly.group_by(keys).agg(pl.len().alias("n"), *ages), on=keys, how="full", suffix="_singly")
        assert both["n"].equals(both["n_singly"], null_equal=True, check_names=False)
        assert set(both["kind"].to_list()) == {"exact", "interval", "left", "right"}
        for name in ("lower", "upper"):  # lives that ended between two distances stand 0.04 % lower: bins of 10 %
            assert both[name].fill_null(0.0).to_list() == pytest.approx(
                both[f"{name}_singly"].fill_null(0.0).to_list(), rel=1e-3
            )


def _planted(files: Path, kind: str) -> pl.DataFrame:
    return pl.DataFrame(tomllib.loads((files / "truth.toml").read_text())["lives"][kind])


ROAD_CELLS = [("K5", "delivery"), ("T5 compact", "delivery"), ("K6 heavy", "off_road"), ("A9 site", "off_road")]


def test_planted_road_lives_are_recovered_with_the_register(clean_demo_folder: Path) -> None:
    """Of the planted B10 at places with 5 or more worn, about nine in ten lie within their 90 % limits.

    Stated error: a part is dated worn when it is noticed, which a third of the planted failures are some 7 % of the life
    later; places with 5 or more worn are those where chance brought more, so that single estimates read low.
    """
    truth = _planted(clean_demo_folder.parent / "clean-files", "on_roads")
    inside = []
    for family, duty in ROAD_CELLS:
        answer = shown(
            clean_demo_folder, "component-life", "--population", "on_the_road", "--lives", "from_new",
            "--family", family, "--duty", duty,
        )  # fmt: skip
        planted = {
            row["position"]: row
            for row in truth.filter((pl.col("family") == family) & (pl.col("duty") == duty)).iter_rows(named=True)
        }
        for row in answer["rows"]:
            assert row["population"] == "on the road"
            if row["spread"] == "its own" and row["b10"] is not None:
                true = planted[row["position"]]["b10_km"]
                inside.append(row["b10_low"] <= true <= (row["b10_high"] or np.inf))
    assert len(inside) >= 20
    assert np.mean(inside) >= 0.75  # of some 25: 0.75 lies two errors below 0.9


def test_planted_bench_lives_are_recovered_and_named_so(clean_demo_folder: Path) -> None:
    """B10 of units that came in, against the true lives of those units: pooled over positions, duties and fleets.

    Stated error: 15 % between families, of which half is chance in the truth itself (some 100 lives each).
    """
    truth = _planted(clean_demo_folder.parent / "clean-files", "on_benches")
    planted = {(row["family"], row["component"]): row["b10_km_on_benches"] for row in truth.iter_rows(named=True)}
    answer = shown(
        clean_demo_folder, "component-life", "--population", "came_in", "--lives", "from_new", "--by", "family"
    )
    rows = [r for r in answer["rows"] if r["spread"] == "its own" and r["worn"] >= 8 and r["b10"] is not None]
    ratios = np.array([row["b10"] / planted[row["family"], row["component"]] for row in rows])
    assert len(ratios) >= 20
    assert np.median(ratios) == pytest.approx(1.0, abs=0.08)
    assert np.std(np.log(ratios)) < 0.2
    assert {row["population"] for row in answer["rows"]} == {"among units that came in"}
    assert answer["answer"].startswith("Among units that came in")
    assert any("not of those on the road" in note for note in answer["notes"])


def test_the_same_day_asked_twice_answers_alike(clean_demo_folder: Path) -> None:
    question = every_question()["component-life"]
    then = history(clean_demo_folder, dt.date(2022, 6, 1))
    answers = [question.ask(then, question.chosen({"by": "component"})) for _ in range(2)]
    assert answers[0].to_plain() == answers[1].to_plain()
