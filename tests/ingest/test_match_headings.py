"""Headings become fields only where they say so; whatever is doubtful is refused with the nearest word."""

from __future__ import annotations

from pathlib import Path

import pytest

from ingest.mapping import WorkshopMapping, read_mapping
from ingest.match_headings import plan_sheets
from ingest.plan import LoadError, SheetPlan, SourceTable

FINDINGS = ("Job No.", "Component position", "grade")


def table(*headings: str, file: str = "x.csv", sheet: str | None = None) -> SourceTable:
    return SourceTable(Path(file), sheet, "raw_0", headings, 1, 0, sheet is not None, "")


def planned(one: SourceTable, mapping: WorkshopMapping | None = None) -> SheetPlan:
    [plan] = plan_sheets([one], mapping)
    return plan


def mapped(folder: Path, text: str) -> WorkshopMapping:
    (folder / "m.toml").write_text(text)
    return read_mapping(folder / "m.toml")


def columns(plan: SheetPlan) -> dict[str, tuple[str | None, str | None]]:
    return {column.field.name: (column.source, column.unit) for column in plan.columns}


@pytest.mark.parametrize(
    ("file", "sheet"),
    [
        ("findings.csv", None),
        ("Findings 2019.xlsx", "Sheet1"),
        ("book.xlsx", "findings_2019"),
        ("book.xlsx", "FINDING"),
    ],
)
def test_a_record_type_is_told_by_name(file: str, sheet: str | None) -> None:
    assert planned(table(*FINDINGS, file=file, sheet=sheet)).record.name == "finding"


def test_a_record_type_is_told_by_headings() -> None:
    assert planned(table("job", "part number", "qty", "supplier", "movement")).record.name == "part_line"


def test_a_name_and_headings_that_contradict_each_other() -> None:
    with pytest.raises(LoadError, match="named like part, but its headings fit part_line better"):
        planned(table("job", "part", "quantity", "movement", "supplier", file="parts.csv"))


def test_a_sheet_of_unknown_kind_names_the_nearest() -> None:
    with pytest.raises(
        LoadError, match=r"book\.xlsx, sheet 'Liste': cannot tell what its rows are; nearest are "
    ) as raised:
        planned(table("job", "Bemerkung", file="book.xlsx", sheet="Liste"))
    assert "ignore = true" in str(raised.value)


def test_headings_units_and_words() -> None:
    plan = planned(table("Job", "position", "Ring gap [thou]", "end float, mm", "ROLE", "Remarks", file="findings.csv"))
    assert columns(plan) == {
        "job": ("c0", None),
        "position": ("c1", None),
        "ring_gap": ("c2", "thou"),
        "end_float": ("c3", "mm"),
        "role": ("c4", None),
    }
    assert plan.unused_headings == ("Remarks",)
    role = next(column for column in plan.columns if column.field.name == "role")
    assert role.words["found failed"] == "failed"
    assert role.words["sound"] == "sound"


@pytest.mark.parametrize("heading", ["quoted", "quoted (money)", "quoted (EUR)", "Quoted [€]", "quoted (net)"])
def test_money_is_in_the_one_currency(heading: str) -> None:
    assert columns(planned(table("job", "unit", "kind", "opened", heading)))["quoted"] == ("c4", "money")


def test_money_in_cents_and_pieces() -> None:
    assert columns(planned(table("job", "unit", "kind", "opened", "quoted (cents)")))["quoted"] == ("c4", "cents")
    assert columns(planned(table("job", "part", "quantity", "movement", "lot")))["quantity"] == ("c2", "pieces")


def test_a_reading_without_unit_needs_the_row_to_say_it() -> None:
    readings = ("job", "quantity", "stage", "value")
    assert columns(planned(table(*readings, "unit")))["value"] == ("c3", None)
    assert columns(planned(table(*readings[:3], "value (mm)")))["value"] == ("c3", "mm")
    with pytest.raises(LoadError, match="heading 'value' does not say the unit of value"):
        planned(table(*readings))


@pytest.mark.parametrize(
    ("headings", "sentence"),
    [
        (("ring gap",), r"heading 'ring gap' does not say the unit of ring_gap; .* 'ring gap \(mm\)'"),
        (("ring_gap (km)",), "heading 'ring_gap \\(km\\)' gives ring_gap in 'km'; expected one of mm, um, in, thou"),
        (("ring_gap (mm)", "Ring gap, thou"), "'ring_gap \\(mm\\)' and 'Ring gap, thou' could both be ring_gap"),
        (("role", "role#2"), "'role' and 'role#2' could both be role"),
        (("damgae mode",), "unknown heading 'damgae mode'; did you mean 'damage_mode'"),
        (("end flaot (mm)",), r"unknown heading 'end flaot \(mm\)'; did you mean 'end_float \(mm\)'"),
    ],
)
def test_doubtful_headings_are_refused(headings: tuple[str, ...], sentence: str) -> None:
    with pytest.raises(LoadError, match=sentence) as raised:
        planned(table("job", "position", *headings, file="findings.csv"))
    assert str(raised.value).startswith("findings.csv: ")


def test_a_required_field_without_a_column() -> None:
    with pytest.raises(LoadError, match=r"findings\.csv: a finding needs a column 'position'; found 'job', 'grade'"):
        planned(table("job", "grade", file="findings.csv"))


def test_a_workbook_of_corrections() -> None:
    plan = planned(
        table("corrects", "file", "sheet", "row", "reason", "job", "position", "text as found", sheet="findings")
    )
    assert plan.corrects == "c0"
    assert set(columns(plan)) == {"job", "position"}
    assert plan.unused_headings == ()


WIDE = """
[[sheet]]
record = "job"
[sheet.columns]
"Auftrag" = "job"
"Art" = "kind"
"km" = { field = "odometer", unit = "km" }
"Tacho" = { field = "odometer", unit = "mi" }
[sheet.words.kind]
"Voll" = "full_rebuild"

[[sheet]]
record = "shim"
needs = ["Shim L"]
decimal = ","
[sheet.columns]
"Auftrag" = "job"
"Shim L" = { field = "thickness", unit = "mm" }
[sheet.fixed]
stage = "as_found"
location = "left side"
"""


def test_several_readings_of_one_sheet(tmp_path: Path) -> None:
    job, shim = plan_sheets(
        [table("Auftrag", "unit", "Art", "opened", "KM", "Shim L", "Notiz")], mapped(tmp_path, WIDE)
    )
    assert columns(job) == {
        "job": ("c0", None), "unit": ("c1", None), "kind": ("c2", None), "opened": ("c3", None),
        "odometer": ("c4", "km"),
    }  # fmt: skip
    assert next(c for c in job.columns if c.field.name == "kind").words["voll"] == "full_rebuild"
    assert job.unused_headings == ("Notiz",)
    assert columns(shim) == {
        "job": ("c0", None),
        "thickness": ("c5", "mm"),
        "stage": (None, None),
        "location": (None, None),
    }
    assert (shim.needs, shim.unused_headings) == (("c5",), ())
    assert {c.field.name: c.fixed for c in shim.columns if c.fixed} == {"stage": "as_found", "location": "left side"}
    assert next(c for c in shim.columns if c.field.name == "thickness").decimal == ","
    assert job.mapping_digest != shim.mapping_digest


def test_a_reading_whose_needed_column_is_not_there_is_left_out(tmp_path: Path) -> None:
    [job] = plan_sheets([table("Auftrag", "unit", "Art", "opened")], mapped(tmp_path, WIDE))
    assert job.record.name == "job"


def test_headings_that_drift_over_the_years(tmp_path: Path) -> None:
    mapping = mapped(tmp_path, WIDE)
    [early] = plan_sheets([table("Auftrag", "unit", "Art", "opened", "Tacho")], mapping)
    assert columns(early)["odometer"] == ("c4", "mi")
    with pytest.raises(LoadError, match="'km' and 'Tacho' could both be odometer"):
        plan_sheets([table("Auftrag", "unit", "Art", "opened", "km", "Tacho")], mapping)


@pytest.mark.parametrize(
    ("headings", "sentence"),
    [
        (
            ("Auftrag", "unit", "Art", "opened", "Tachoo"),
            r"m\.toml, sheet\[1\]\.columns names 'Tacho', .* did you mean 'Tachoo'",
        ),
        (
            ("Auftrag", "unit", "Art", "opened", "Shim-Ll"),
            r"m\.toml, sheet\[2\]\.needs names 'Shim L', .* mean 'Shim-Ll'",
        ),
        (("Auftrag", "Art", "opened"), "a job needs a column 'unit'"),
    ],
)
def test_a_mapping_that_does_not_fit_the_sheet(tmp_path: Path, headings: tuple[str, ...], sentence: str) -> None:
    with pytest.raises(LoadError, match=sentence):
        plan_sheets([table(*headings)], mapped(tmp_path, WIDE))


def test_a_mapping_wins_over_our_own_words(tmp_path: Path) -> None:
    mapping = mapped(
        tmp_path, '[[sheet]]\nrecord="finding"\n[sheet.columns]\n"Stelle"="position"\n"grade"={ignore=true}\n'
    )
    plan = planned(table("job", "position", "Stelle", "grade"), mapping)
    assert columns(plan) == {"job": ("c0", None), "position": ("c2", None)}
    assert plan.unused_headings == ("position",)


def test_a_second_column_of_the_same_name_can_be_mapped(tmp_path: Path) -> None:
    mapping = mapped(
        tmp_path, '[[sheet]]\nrecord="finding"\n[sheet.columns]\n"found#2"="position"\n"found"={ignore=true}\n'
    )
    assert columns(planned(table("job", "found", "found#2"), mapping))["position"] == ("c2", None)


def test_sheets_that_the_mapping_ignores(tmp_path: Path) -> None:
    mapping = mapped(tmp_path, '[[sheet]]\nfile="x.csv"\nignore=true\n')
    assert plan_sheets([table("anything")], mapping) == []
