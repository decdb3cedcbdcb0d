"""Load through the command: totals, dry runs, going back, and one sentence with exit code 2 for bad input."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import xlsxwriter

from dashboards.command import main as run_main
from ingest.load import load
from tests.csv_workshop import BASE, CsvWorkshop, lines


@pytest.fixture
def files(tmp_path: Path) -> Path:
    """Return a folder with a small workshop's files."""
    return CsvWorkshop(tmp_path).write(
        {**BASE, "findings.csv": "job,position,grade\nJ1,2nd ring,3\nJ1,2nd ring,3\nJ1,nope,1\n"}
    )


def _run(capfd: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    """Run the command as the shell does; return its exit code and what it says."""
    code = 0
    try:
        run_main([str(argument) for argument in arguments])
    except SystemExit as end:
        code = int(str(end.code or 0))
    said = capfd.readouterr()
    return code, said.out, said.err


def test_totals_and_files_as_json(files: Path, tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    code, out, _ = _run(capfd, "load", files, "--warehouse", tmp_path / "w", "--json")
    assert code == 0
    told = json.loads(out)
    assert told["totals"] == {"read": 17, "accepted": 15, "duplicate": 1, "superseded": 0, "quarantined": 1}
    findings = next(entry for entry in told["files"] if entry["file"].endswith("findings.csv"))
    assert {k: findings[k] for k in ("read", "accepted", "duplicate", "superseded", "quarantined")} == {
        "read": 3, "accepted": 1, "duplicate": 1, "superseded": 0, "quarantined": 1,
    }  # fmt: skip
    assert told["version"] == 1
    assert told["published"] is True
    assert told["standing"] == told["totals"]


def test_a_dry_run_says_the_same_and_publishes_nothing(files: Path, tmp_path: Path) -> None:
    dry = load(tmp_path / "w", [files], dry_run=True)
    assert (dry.version, dry.published) == (None, False)
    assert not (tmp_path / "w" / "CURRENT").exists()
    real = load(tmp_path / "w", [files])
    assert dry.sources == real.sources
    assert dry.standing == real.standing
    again = load(tmp_path / "w", [files], dry_run=True)
    assert again.version == 1
    assert all(source.read == source.duplicate for source in again.sources)


def test_going_back_publishes_a_kept_version_again(
    files: Path, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    records = tmp_path / "w"
    assert _run(capfd, "load", files, "--warehouse", records)[0] == 0
    (tmp_path / "units.csv").write_text("unit,family\nU8,K4\n")
    assert _run(capfd, "load", tmp_path / "units.csv", "--warehouse", records)[0] == 0
    assert _run(capfd, "load", "--back-to", 1, "--warehouse", records)[0] == 0
    assert (records / "CURRENT").read_text().strip() == "1"
    code, _, err = _run(capfd, "load", "--back-to", 7, "--warehouse", records)
    assert code == 2
    assert err.strip() == f"layshaft: version 7 is not kept in '{records}'; kept: 1, 2"
    assert load(records, [tmp_path / "units.csv"]).version == 3, "a number is never given twice"


def _workbook(path: Path) -> Path:
    with xlsxwriter.Workbook(str(path)) as book:
        book.add_worksheet("units").write_row(0, 0, ["unit", "family"])
    return path


def _bad_inputs(folder: Path) -> dict[str, tuple[list[object], str]]:
    """Return bad input: arguments, and what the sentence has to say."""
    folder.mkdir()
    (folder / "empty.csv").touch()
    (folder / "blank.csv").write_text("\n\n")
    (folder / "folder of pictures").mkdir()
    (folder / "folder of pictures" / "bench.png").write_bytes(b"x")
    (folder / "empty folder").mkdir()
    whole = _workbook(folder / "whole.xlsx").read_bytes()
    (folder / "cut short.xlsx").write_bytes(whole[: len(whole) // 2])
    (folder / "locked.xlsx").write_bytes(bytes.fromhex("D0CF11E0A1B11AE1") + bytes(2000))
    (folder / "notes.docx").write_bytes(b"x")
    (folder / "units.csv").write_text("unit,family\nU1,K4\n")
    (folder / "odd.csv").write_text("apples,pears\n1,2\n")
    (folder / "open.csv").write_text('job,operation,"worked (h)"\nJ1,strip,"1,250"\n')
    (folder / "key.toml").write_text('[[sheet]]\nfile = "units*"\nrecord = "unit"\ncolums = 3\n')
    (folder / "broken.toml").write_text("[[sheet\n")
    return {
        "no such file": ([folder / "none.csv"], "no such file"),
        "empty file": ([folder / "empty.csv"], "the file is empty"),
        "blank file": ([folder / "blank.csv"], "blank lines only"),
        "nothing readable": ([folder / "folder of pictures"], "found 1 other file"),
        "empty folder": ([folder / "empty folder"], "found nothing"),
        "truncated workbook": ([folder / "cut short.xlsx"], "cut short.xlsx"),
        "locked workbook": ([folder / "locked.xlsx"], "locked.xlsx"),
        "another kind of file": ([folder / "notes.docx"], "notes.docx"),
        "no record type": ([folder / "odd.csv"], "odd.csv"),
        "open decimal mark": ([folder / "open.csv"], "can be read in two ways"),
        "wrong mapping key": ([folder / "units.csv", "--mapping", folder / "key.toml"], "columns"),
        "broken mapping": ([folder / "units.csv", "--mapping", folder / "broken.toml"], "broken.toml"),
        "no such mapping": ([folder / "units.csv", "--mapping", folder / "none.toml"], "none.toml"),
        "no files": ([], "no files given"),
        "files with going back": ([folder / "units.csv", "--back-to", 1], "it takes no files"),
        "nothing kept": (["--back-to", 1], "kept: none"),
    }


BAD = [
    "no such file", "empty file", "blank file", "nothing readable", "empty folder", "truncated workbook",
    "locked workbook", "another kind of file", "no record type", "open decimal mark", "wrong mapping key",
    "broken mapping", "no such mapping", "no files", "files with going back", "nothing kept",
]  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_bad_input_gets_a_sentence_and_exit_code_2(
    name: str, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    inputs = _bad_inputs(tmp_path / "in")
    assert list(inputs) == BAD
    arguments, words = inputs[name]
    code, out, err = _run(capfd, "load", *arguments, "--warehouse", tmp_path / "w")
    told = [line for line in err.splitlines() if not line.endswith(" ...")]
    assert code == 2, out + err
    assert len(told) == 1, err
    assert told[0].startswith("layshaft: ")
    assert words in told[0]
    assert not (tmp_path / "w" / "CURRENT").exists()


@pytest.mark.parametrize("command", [["check"], ["show", "failure-rates"]])
def test_without_records_yet(command: list[str], tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    code, _, err = _run(capfd, *command, "--warehouse", tmp_path / "none")
    assert code == 2
    assert (
        err.strip()
        == f"layshaft: there are no job records in '{tmp_path / 'none'}' yet: load some with 'layshaft load FILES'"
    )


def test_a_bad_file_among_good_ones_loads_nothing(
    files: Path, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    (files / "zz.csv").touch()
    code, _, err = _run(capfd, "load", files, "--warehouse", tmp_path / "w")
    assert code == 2
    assert "zz.csv: the file is empty" in err
    assert not (tmp_path / "w" / "CURRENT").exists()


def test_quotes_in_paths_do_no_harm(files: Path, tmp_path: Path) -> None:
    folder = tmp_path / 'the owner\'s "records"'
    assert load(folder, [files.rename(files.parent / "tom's files")]).version == 1
    (tmp_path / "units.csv").write_text(lines("unit,family\nU8,K4"))
    assert load(folder, [tmp_path / "units.csv"]).version == 2
