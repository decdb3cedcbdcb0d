"""The demo is the same each time, complete, and refuses a wrong scenario with one sentence."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

import polars as pl
import pytest

from demo_warehouse import DemoSummary, Workshop, simulate, write_demo
from demo_warehouse.__main__ import main
from demo_warehouse.scenario import ScenarioError, read_scenario
from ingest.records import RECORDS


def _digests(folder: Path) -> dict[str, str]:
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in sorted(folder.iterdir())}


def test_the_same_scenario_and_seed_give_the_same_bytes(messy: DemoSummary, demo_files_folder: Path) -> None:
    # Those of the command, in a process of its own.
    assert _digests(demo_files_folder) == _digests(messy.out)


def test_another_seed_gives_another_workshop() -> None:
    assert not simulate({"scale": 0.1}, 1)["job"].equals(simulate({"scale": 0.1}, 2)["job"])


@pytest.mark.parametrize("record", RECORDS, ids=lambda record: record.name)
def test_every_field_of_every_record_is_filled_somewhere(workshop: Workshop, record: object) -> None:
    frame = workshop.records[record.name]  # type: ignore[attr-defined]
    assert [c for c in frame.columns if frame[c].null_count() == frame.height] == []


def test_keys_are_unique(workshop: Workshop) -> None:
    for record in RECORDS:
        frame = workshop.records[record.name]
        if record.key:
            key = [record.field_named(name).column for name in record.key]
            assert frame.select(key).is_duplicated().sum() == 0, record.name


def test_values_are_words_of_their_vocabularies(workshop: Workshop) -> None:
    from ingest.vocabularies import vocabulary_named

    for record in RECORDS:
        for field in record.fields:
            if field.vocabulary:
                found = set(workshop.records[record.name][field.column].drop_nulls().unique())
                assert found <= set(vocabulary_named(field.vocabulary).codes()), (record.name, field.name)


def test_nothing_is_dated_after_the_end(workshop: Workshop) -> None:
    for name, frame in workshop.records.items():
        for column in frame.columns:
            if frame[column].dtype == pl.Date and column not in ("entered",):
                assert frame[column].max() <= workshop.scenario.end, (name, column)


def test_the_workshop_has_the_promised_size(workshop: Workshop) -> None:
    counts = {name: frame.height for name, frame in workshop.records.items()}
    assert 1200 <= counts["job"] <= 2000
    assert counts["finding"] > 15_000
    assert counts["measurement"] > 8_000
    assert counts["part_line"] > 10_000
    assert counts["family"] >= 6
    assert counts["part"] >= 300
    per_family = workshop.records["position"].group_by("family").len()["len"]
    assert per_family.min() >= 15
    assert per_family.max() <= 35
    assert workshop.records["part_line"]["supplier"].n_unique() == 9 + 1  # nine, and none for the customer's own


def test_registers_list_units_that_never_came_and_units_that_entered_late(workshop: Workshop) -> None:
    listed = workshop.records["unit"].filter(pl.col("register_entry").is_not_null())
    came = workshop.records["job"]["unit"].unique().implode()
    assert listed.filter(~pl.col("unit").is_in(came)).height > 50
    late = listed.filter((pl.col("register_entry") - pl.col("in_service_since")).dt.total_days() > 300)
    assert late.height > 50


def test_clean_files_have_the_template_headings(small: Path, tmp_path: Path) -> None:
    summary = write_demo(small, 5, tmp_path / "clean", clean=True)
    assert len(summary.files) == len(RECORDS)
    for record in RECORDS:
        path = summary.out / f"{record.sheet_names[0].replace(' ', '_')}.csv"
        heading = path.read_text(encoding="utf-8").splitlines()[0].split(",")
        assert heading == [field.heading for field in record.fields]


def test_the_command_writes_and_refuses(small: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--scenario", str(small), "--seed", "4", "--out", str(tmp_path / "out"), "--clean"]) == 0
    assert "planted defects" in capsys.readouterr().out
    wrong = tmp_path / "wrong.toml"
    wrong.write_text("[lives]\nsilent_shore = 0.2\n", encoding="utf-8")
    assert main(["--scenario", str(wrong), "--out", str(tmp_path / "out")]) == 2
    said = capsys.readouterr().err.strip()
    assert "silent_shore" in said
    assert "\n" not in said


@pytest.mark.parametrize(
    ("tables", "said"),
    [
        ({"start": 3}, "start should be a date"),
        ({"scale": 0.0}, "scale should be above 0"),
        ({"planted": {"bad_lot": {"pieces": "many"}}}, "pieces should be a int"),
    ],
)
def test_a_wrong_scenario_is_named(tables: dict[str, object], said: str) -> None:
    with pytest.raises(ScenarioError, match=re.escape(said)):
        read_scenario(tables)
