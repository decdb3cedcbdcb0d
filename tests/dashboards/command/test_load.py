"""What a load says of the files that it read and of those that it passed over."""

from __future__ import annotations

from pathlib import Path

from dashboards.command.load import told, told_apart
from ingest.load import load


def test_files_of_one_name_are_told_apart_by_their_folders() -> None:
    files = [Path("a/2019/jobs.csv"), Path("a/2020/jobs.csv"), Path("a/2019/units.csv"), Path("a/2019/jobs.csv")]
    assert told_apart(files) == ["2019/jobs.csv", "2020/jobs.csv", "units.csv", "2019/jobs.csv"]
    assert told_apart([Path("x/m/jobs.csv"), Path("y/m/jobs.csv")]) == ["x/m/jobs.csv", "y/m/jobs.csv"]
    assert told_apart([]) == []


def test_what_was_passed_over_in_a_folder_is_told(tmp_path: Path) -> None:
    files = tmp_path / "files"
    files.mkdir()
    (files / "family.csv").write_text("family,kind\nK4,gearbox\n")
    (files / "picture.png").write_bytes(b"x")
    lines = told(load(tmp_path / "records", [files]), dry_run=False).splitlines()
    assert any(line.startswith("picture.png: passed over") for line in lines)
