"""Put rows right: by the exported workbook, by a row that names the one it corrects, and by the same key."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
import xlsxwriter
from python_calamine import CalamineWorkbook

from analytics.records_health import rows_to_put_right
from analytics.warehouse_file import open_warehouse
from ingest.rows_to_put_right import write_rows_to_put_right
from tests.csv_workshop import BASE, CsvWorkshop

FAULTY = {
    "findings.csv": "job,position,grade\nJ1,2nd ring,77\n,main bearing,3\nJ2,2nd ring,1\n",
    "shims.csv": """
        job,location,stage,thickness (mm)
        J1,front,as built,0.10
        J1,front,as built,O.10
        J1,fornt,as built,0.15
    """,
}


def _export_and_edit(shop: CsvWorkshop, name: str, edit: Callable[[str, dict[str, str]], None]) -> Path:
    """Export the rows to put right, change rows as a person would, and save the workbook under another name."""
    exported, saved = shop.folder / f"{name} exported.xlsx", shop.folder / f"{name}.xlsx"
    opened = open_warehouse(shop.records)
    write_rows_to_put_right(rows_to_put_right(opened), exported)
    opened.close()
    book = CalamineWorkbook.from_path(exported)
    with xlsxwriter.Workbook(str(saved)) as out:
        for sheet_name in book.sheet_names:
            sheet = out.add_worksheet(sheet_name)
            headings, *rows = book.get_sheet_by_name(sheet_name).to_python()
            sheet.write_row(0, 0, headings)
            for number, cells in enumerate(rows, 1):
                row = {str(heading): str(cell) for heading, cell in zip(headings, cells, strict=True)}
                edit(sheet_name, row)
                for column, text in enumerate(row.values()):
                    if text:
                        sheet.write_string(number, column, text)
    return saved


def test_faults_put_right_in_the_exported_workbook_count_once(tmp_path: Path) -> None:
    shop = CsvWorkshop(tmp_path)
    shop.load({**BASE, **FAULTY})
    assert len(shop.references("finding")) == 2
    assert len(shop.references("shim")) == 2

    def edit(sheet: str, row: dict[str, str]) -> None:
        if sheet == "findings":
            row["grade"] = row["grade"].replace("77", "4")
            row["job"] = row["job"] or "J1"
        else:
            row["thickness (mm)"] = row["thickness (mm)"].replace("O", "0")
            row["location"] = row["location"].replace("fornt", "front")

    saved = _export_and_edit(shop, "corrected", edit)
    shop.load_paths([saved])
    assert shop.accepted("finding", "job", "position", "grade") == [
        ("J1", "2nd ring", "4"), ("J1", "main bearing", "3"), ("J2", "2nd ring", "1"),
    ]  # fmt: skip
    # The corrected shim counts in the file of the row that it corrects: a second piece of 0.10 mm beside the first.
    assert shop.accepted("shim", "thickness_um") == [(100,), (100,), (150,)]
    assert shop.references("finding") == []
    assert shop.references("shim") == []
    assert {what[2] for what in shop.held("shim").values()} == {"put right by a later row"}
    version = shop.version
    for again in ([saved], [shop.folder / "load 1"], [saved, shop.folder / "load 1"]):
        assert not shop.load_paths(again).published
    assert shop.version == version


def test_a_workbook_loaded_with_some_rows_untouched_keeps_each_once(tmp_path: Path) -> None:
    shop = CsvWorkshop(tmp_path)
    shop.load({**BASE, **FAULTY, "labour.csv": "job,operation,worked (h)\nJ9,strip,1\nJ9,strip,1\n"})

    def untouched(sheet: str, row: dict[str, str]) -> None:
        pass

    shop.load_paths([_export_and_edit(shop, "untouched", untouched)])
    assert len(shop.references("finding")) == 2
    assert len(shop.references("shim")) == 2
    assert len(shop.references("labour")) == 2
    shop.load({"jobs.csv": "job,unit,kind,opened\nJ9,U1,full rebuild,2021-01-01\n"})
    assert len(shop.accepted("labour")) == 2
    assert shop.references("labour") == []


def test_of_several_corrections_of_a_row_the_latest_stands(tmp_path: Path) -> None:
    shop = CsvWorkshop(tmp_path)
    shop.load({**BASE, "shims.csv": "job,location,stage,thickness (mm)\nJ1,front,as built,o.1\n"})
    ((reference, _),) = shop.references("shim")
    heading = "corrects,job,location,stage,thickness (mm)"

    def correct(what: str, thickness: str) -> bool:
        return shop.load({"shims.csv": f"{heading}\n{what},J1,front,as built,{thickness}\n"}).published

    assert correct(reference, "0.2")
    assert correct(reference, "0.1")
    assert shop.accepted("shim", "thickness_um") == [(100,)]
    assert not correct(reference, "0.2"), "an older correction loaded again reverts nothing"
    assert shop.accepted("shim", "thickness_um") == [(100,)]
    (accepted,) = shop.ask("select 'S' || source_id || ':' || row_number from shim")
    assert correct(str(accepted[0]), "0.3"), "a correction may be corrected itself"
    assert shop.accepted("shim", "thickness_um") == [(300,)]
    assert correct(reference, "nought"), "an attempt at fault is put aside"
    assert shop.accepted("shim", "thickness_um") == [(300,)]
    assert len(shop.references("shim")) == 1


def test_an_attempt_at_fault_takes_the_place_of_the_row_until_a_sound_one_comes(tmp_path: Path) -> None:
    shop = CsvWorkshop(tmp_path)
    shop.load({**BASE, "shims.csv": "job,location,stage,thickness (mm)\nJ1,front,as built,o.1\n"})
    ((first, _),) = shop.references("shim")
    heading = "corrects,job,location,stage,thickness (mm)"
    shop.load({"shims.csv": f"{heading}\n{first},J1,front,as built,,1\n".replace(",,1", ",0-1")})
    ((second, _),) = shop.references("shim")
    assert second != first
    shop.load({"shims.csv": f"{heading}\n{first},J1,front,as built,0.1\n"})
    assert shop.references("shim") == []
    assert shop.accepted("shim", "thickness_um") == [(100,)]


def test_two_corrections_of_one_row_in_one_load_settle_nothing(tmp_path: Path) -> None:
    shop = CsvWorkshop(tmp_path)
    shop.load({**BASE, "shims.csv": "job,location,stage,thickness (mm)\nJ1,front,as built,o.1\n"})
    ((reference, _),) = shop.references("shim")
    rows = "\n".join(f"{reference},J1,front,as built,{thickness}" for thickness in ("0.1", "0.2"))
    shop.load({"shims.csv": f"corrects,job,location,stage,thickness (mm)\n{rows}\n"})
    assert shop.accepted("shim") == []
    assert len(shop.references("shim")) == 3
    shop.load({"shims.csv": f"corrects,job,location,stage,thickness (mm)\n{reference},J1,front,as built,0.2\n"})
    assert shop.accepted("shim", "thickness_um") == [(200,)]
    assert shop.references("shim") == []


def test_a_correction_that_takes_the_place_of_a_row_nobody_named_says_so(tmp_path: Path) -> None:
    shop = CsvWorkshop(tmp_path)
    shop.load({**BASE, "findings.csv": "job,position,grade\nJ1,2nd ring,77\nJ1,main bearing,3\n"})
    ((reference, _),) = shop.references("finding")
    report = shop.load({"right.csv": f"corrects,job,position,grade\n{reference},J1,main bearing,4\n"})
    assert shop.accepted("finding", "position", "grade") == [("main bearing", "4")]
    assert report.notes == (
        "right.csv, row 2: has the key of findings.csv, row 3 (finding), whose place it takes beside that of the row it "
        "corrects; is that meant?",
    )


def test_a_corrected_row_is_not_promoted_when_its_job_comes_after_all(tmp_path: Path) -> None:
    shop = CsvWorkshop(tmp_path)
    shop.load({**BASE, "labour.csv": "job,operation,worked (h)\nJ9,strip,1\n"})
    ((reference, _),) = shop.references("labour")
    shop.load({"labour.csv": f"corrects,job,operation,worked (h)\n{reference},J1,strip,1\n"})
    shop.load({"jobs.csv": "job,unit,kind,opened\nJ9,U1,full rebuild,2021-01-01\n"})
    assert shop.accepted("labour", "job") == [("J1",)]
    assert not shop.load({"labour again.csv": "job,operation,worked (h)\nJ9,strip,1\n"}).published


def test_a_corrected_row_read_again_under_a_mended_mapping_counts_once(tmp_path: Path) -> None:
    shop = CsvWorkshop(tmp_path)
    mapping = '[[sheet]]\nfile = "shims*"\nrecord = "shim"\n[sheet.words.stage]\n"fertig" = "as_built"\n'
    files = {"shims.csv": "job,location,stage,thickness (mm)\nJ1,front,fertig,0.1\n"}
    shop.load(BASE)
    shop.load(files)
    ((reference, _),) = shop.references("shim")
    shop.load({"right.csv": f"corrects,job,location,stage,thickness (mm)\n{reference},J1,front,as built,0.1\n"})
    shop.load(files, mapping)
    assert shop.accepted("shim", "stage", "thickness_um") == [("as_built", 100)]


def test_a_row_at_fault_is_put_right_by_its_key_in_a_later_load(tmp_path: Path) -> None:
    shop = CsvWorkshop(tmp_path)
    shop.load({**BASE, "findings.csv": "job,position,grade\nJ1,2nd ring,77\n"})
    shop.load({"findings.csv": "job,position,grade\nJ1,2nd ring,2\n"})
    assert shop.references("finding") == []
    assert shop.held("finding")["load 1/findings.csv", 2] == ("superseded", None, "put right by a later row")
    assert not shop.load_paths([shop.folder / "load 1"]).published


@pytest.mark.parametrize("reference", ["S999:1", "row 5", "S1:1", "S0:0"])
def test_a_reference_that_names_no_row_leaves_the_row_as_any_other(tmp_path: Path, reference: str) -> None:
    shop = CsvWorkshop(tmp_path)
    shop.load({**BASE, "shims.csv": f"corrects,job,location,stage,thickness (mm)\n{reference},J1,front,as built,0.1\n"})
    assert shop.accepted("shim", "thickness_um") == [(100,)]
