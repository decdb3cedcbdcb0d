"""Rows to put right go out under the template's headings and come back under the row that they correct."""

from __future__ import annotations

import json
from pathlib import Path

import duckdb
import polars as pl
import pytest

from analytics.records_health import rows_to_put_right
from analytics.warehouse_file import open_warehouse
from ingest.load import load
from ingest.mapping import WorkshopMapping, read_mapping
from ingest.match_headings import plan_sheets
from ingest.plan import LoadError, SheetPlan
from ingest.read_folder import read_sources
from ingest.rows_to_put_right import write_rows_to_put_right

SCHEMA = {
    "record": pl.String, "reference": pl.String, "file": pl.String, "sheet": pl.String, "row_number": pl.Int64,
    "field": pl.String, "reason": pl.String, "original": pl.String,
}  # fmt: skip


def row(
    record: str, number: int, original: dict[str, str | None], file: str = "f.csv", field: str | None = "job"
) -> tuple[object, ...]:
    return record, f"S12:{number}", file, None, number, field, "not known", json.dumps(original)


def round_trip(
    path: Path, rows: list[tuple[object, ...]], mapping: WorkshopMapping | None = None
) -> list[tuple[SheetPlan, list[dict[str, object]]]]:
    write_rows_to_put_right(pl.DataFrame(rows, SCHEMA, orient="row"), path, mapping)
    connection = duckdb.connect()
    made = []
    for plan in plan_sheets(read_sources(connection, [path], None), None):
        names = ["row_number", *plan.table.headings]
        found = connection.sql(f"from {plan.table.raw_table}").fetchall()
        made.append((plan, [{k: v for k, v in zip(names, one, strict=True) if v is not None} for one in found]))
    return made


def test_texts_come_back_under_our_headings_with_their_place(tmp_path: Path) -> None:
    original = {"Job No": "J9", "position": "=2nd", "ring_gap (mm)": "1,x", "Bemerkung": "laut", "grade": None}
    [(plan, rows)] = round_trip(tmp_path / "right.xlsx", [row("finding", 45, original)])
    assert plan.record.name == "finding"
    assert plan.corrects == "c0"
    assert plan.unused_headings == ("Bemerkung",)
    assert rows == [
        {
            "row_number": 2, "corrects": "S12:45", "file": "f.csv", "row": "45", "reason": "not known",
            "job": "J9", "position": "=2nd", "ring_gap (mm)": "1,x", "Bemerkung": "laut",
        }
    ]  # fmt: skip


def test_another_unit_keeps_its_own_sheet(tmp_path: Path) -> None:
    made = round_trip(
        tmp_path / "right.xlsx",
        [
            row("job", 2, {"job": "J1", "odometer (km)": "10"}),
            row("job", 3, {"job": "J2", "odometer (mi)": "x"}),
            row("job", 4, {"job": "J3"}),
        ],
    )
    assert [(plan.table.sheet, plan.record.name) for plan, _ in made] == [("jobs", "job"), ("jobs 2", "job")]
    units = [next(c.unit for c in plan.columns if c.field.name == "odometer") for plan, _ in made]
    assert units == ["km", "mi"]
    assert [[one["job"] for one in rows] for _, rows in made] == [["J1", "J3"], ["J2"]]


def test_readings_get_their_unit_in_the_row(tmp_path: Path) -> None:
    original = {"job": "J1", "quantity": "backlash", "stage": "as_found", "value (thou)": "4", "target (thou)": "?"}
    [(_, [one])] = round_trip(tmp_path / "right.xlsx", [row("measurement", 2, original)])
    assert (one["value"], one["target"], one["unit_written"]) == ("4", "?", "thou")


def test_a_row_that_could_not_be_split_keeps_its_text(tmp_path: Path) -> None:
    [(plan, [one])] = round_trip(tmp_path / "right.xlsx", [row("finding", 3, {"row": "J1;;;"}, field=None)])
    assert (one["text as found"], one["reason"]) == ("J1;;;", "not known")
    assert plan.unused_headings == ()


def test_a_row_that_is_wrong_again_keeps_one_place(tmp_path: Path) -> None:
    original = {
        "corrects": "S1:9",
        "file": "a.csv",
        "sheet": "x",
        "row": "9",
        "reason": "old",
        "job": "J1",
        "position": "?",
    }
    [(_, [one])] = round_trip(tmp_path / "right.xlsx", [row("finding", 2, original, "right.xlsx")])
    assert (one["corrects"], one["file"], one["reason"]) == ("S12:2", "right.xlsx", "not known")


def test_a_workshops_own_column_called_reason_is_kept_apart(tmp_path: Path) -> None:
    [(_, [one])] = round_trip(tmp_path / "right.xlsx", [row("finding", 2, {"job": "J1", "reason": "noise"})])
    assert one["reason (as found)"] == "noise"


def test_a_mapping_puts_own_headings_words_and_fixed_values_under_ours(tmp_path: Path) -> None:
    (tmp_path / "m.toml").write_text(
        '[[sheet]]\nfile="f.csv"\nrecord="shim"\n[sheet.columns]\n"Auftrag"="job"\n'
        '"Dicke"={field="thickness",unit="thou"}\n"Art"="thickness_basis"\n[sheet.fixed]\nstage="as_found"\n'
        '[sheet.words.thickness_basis]\n"gem."="measured"\n'
    )
    original = {"Auftrag": "J1", "Dicke": "4,x", "Art": "Gem."}
    [(plan, [one])] = round_trip(tmp_path / "right.xlsx", [row("shim", 2, original)], read_mapping(tmp_path / "m.toml"))
    assert (one["job"], one["thickness (thou)"], one["thickness_basis"], one["stage"]) == (
        "J1",
        "4,x",
        "measured",
        "as_found",
    )
    assert next(c.unit for c in plan.columns if c.field.name == "thickness") == "thou"


def test_nothing_to_put_right_is_a_workbook_that_says_so(tmp_path: Path) -> None:
    path = tmp_path / "right.xlsx"
    write_rows_to_put_right(pl.DataFrame([], SCHEMA, orient="row"), path)
    with pytest.raises(LoadError, match="nothing to read there"):
        read_sources(duckdb.connect(), [path], None)


def test_a_frame_without_the_columns_is_refused(tmp_path: Path) -> None:
    with pytest.raises(LoadError, match="lack the column 'reference'"):
        write_rows_to_put_right(pl.DataFrame({"record": ["job"]}), tmp_path / "right.xlsx")


def test_a_decimal_comma_and_a_day_first_date_are_handed_out_unmistakably(tmp_path: Path) -> None:
    """What the sheet itself settled must not have to be settled again: 198.350 was 198350 there, 03.04. was in April."""
    files = tmp_path / "files"
    files.mkdir()
    (files / "families.csv").write_text("family,kind\nK4,gearbox\n")
    (files / "units.csv").write_text("unit,family\nU1,K4\n")
    (files / "jobs.csv").write_text(
        "job;unit;kind;opened;odometer (km)\nJ1;U1;full rebuild;03.04.2020;81.250,5\nJ2;U9;full rebuild;31.05.2021;198.350\n"
    )
    first = load(tmp_path / "records", [files])
    assert first.standing["quarantined"] == 1
    warehouse = open_warehouse(tmp_path / "records")
    write_rows_to_put_right(rows_to_put_right(warehouse), tmp_path / "wrong.xlsx")
    warehouse.close()
    (files / "more.csv").write_text("unit,family\nU9,K4\n")
    (files / "more.csv").rename(tmp_path / "unit.csv")
    second = load(tmp_path / "records", [tmp_path / "wrong.xlsx", tmp_path / "unit.csv"])
    assert second.standing["quarantined"] == 0
    warehouse = open_warehouse(tmp_path / "records")
    found = warehouse.query("select opened::varchar as opened, odometer_m from job where job = 'J2'").row(0)
    warehouse.close()
    assert found == ("2021-05-31", 198_350_000)
