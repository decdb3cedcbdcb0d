"""Files and folders become sources; what is passed over is named, what cannot be read stops the load."""

from __future__ import annotations

from pathlib import Path

import duckdb
import polars as pl
import pytest

from ingest.mapping import read_mapping
from ingest.plan import LoadError
from ingest.read_folder import find_files, read_sources

CSV = "job,position\nJ1,a\n"


def test_a_folder_of_many_formats(tmp_path: Path) -> None:
    (tmp_path / "sub").mkdir()
    (tmp_path / "findings.csv").write_text(CSV)
    (tmp_path / "sub" / "findings.tsv").write_text(CSV.replace(",", "\t"))
    (tmp_path / "findings.json").write_text('[{"job": "J1", "position": "a"}]')
    (tmp_path / "findings.jsonl").write_text('{"job": "J1", "position": "a"}\n')
    pl.DataFrame({"job": ["J1"], "position": ["a"]}).write_parquet(tmp_path / "findings.parquet")
    pl.DataFrame({"job": ["J1"], "position": ["a"]}).write_excel(tmp_path / "findings.xlsx", "findings")
    for name in ("letter.docx", "old.xls", "~$findings.xlsx", ".hidden.csv"):
        (tmp_path / name).write_text("x")
    connection = duckdb.connect()
    tables = read_sources(connection, [tmp_path, tmp_path / "findings.csv"], None)
    assert [table.file.name for table in tables] == [
        "findings.csv", "findings.json", "findings.jsonl", "findings.parquet", "findings.xlsx", "findings.tsv",
    ]  # fmt: skip
    assert {table.content_digest for table in tables} == {tables[0].content_digest}
    for table in tables:
        assert [row[1:] for row in connection.sql(f"from {table.raw_table}").fetchall()] == [("J1", "a")]
    passed_over = find_files([tmp_path]).passed_over
    assert [sentence.split(":")[0] for sentence in passed_over] == [
        ".hidden.csv",
        "letter.docx",
        "old.xls",
        "~$findings.xlsx",
    ]
    assert "save it as .xlsx" in passed_over[2]


def test_a_mapping_says_how_to_read_and_what_to_leave_out(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("t\nAuftrag|Stelle\nJ1|a;b\n")
    (tmp_path / "b.csv").write_text("never,read\n")
    (tmp_path / "m.toml").write_text(
        '[[sheet]]\nfile="a.csv"\nrecord="finding"\nheading_row=2\ndelimiter="|"\n[[sheet]]\nfile="b*"\nignore=true\n'
    )
    mapping = read_mapping(tmp_path / "m.toml")
    [table] = read_sources(duckdb.connect(), [tmp_path], mapping)
    assert (table.headings, table.heading_row) == (("Auftrag", "Stelle"), 2)
    assert "b.csv: left out by the mapping" in find_files([tmp_path], mapping).passed_over


def test_what_cannot_be_read(tmp_path: Path) -> None:
    connection = duckdb.connect()
    (tmp_path / "letter.docx").write_text("x")
    (tmp_path / "empty").mkdir()
    for path, sentence in (
        (tmp_path / "none.csv", "none.csv: no such file or folder"),
        (tmp_path / "letter.docx", r"letter\.docx: expected a file that ends in \.csv"),
        (tmp_path, "found 1 other file"),
        (tmp_path / "empty", "found nothing"),
    ):
        with pytest.raises(LoadError, match=sentence):
            read_sources(connection, [path], None)
    with pytest.raises(LoadError, match="no file: nothing to read there"):
        read_sources(connection, [], None)


def test_a_file_that_may_not_be_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "findings.csv").write_text(CSV)

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(LoadError, match=r"findings\.csv: cannot be read: Permission denied"):
        read_sources(duckdb.connect(), [tmp_path / "findings.csv"], None)
