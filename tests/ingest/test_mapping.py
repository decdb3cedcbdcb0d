"""A mapping file is checked key by key; each refusal names the key and the nearest one."""

from __future__ import annotations

from pathlib import Path

import pytest

from ingest.mapping import ReadingOptions, WorkshopMapping, read_mapping
from ingest.plan import LoadError

WHOLE = """
version = 3
[[sheet]]
file = "jobs_*.xlsx"
sheet = "Jobs*"
record = "shim"
heading_row = 3
delimiter = ";"
quote = '"'
encoding = "cp1252"
decimal = ","
date_order = "day"
needs = ["Shim L found"]
[sheet.columns]
"Job No." = "job"
"Shim L found" = { field = "thickness", unit = "thou", decimal = "." }
"Remarks" = { ignore = true }
[sheet.fixed]
stage = "as_found"
location = "left side"
pieces = 1
[sheet.words.thickness_basis]
"Gem." = "measured"

[[sheet]]
sheet = "Findings"
record = "finding"
habits = ["full_strip_lists_only_bad"]

[[sheet]]
file = "old_*"
ignore = true
"""


def read(folder: Path, text: str) -> WorkshopMapping:
    path = folder / "m.toml"
    path.write_text(text, encoding="utf-8")
    return read_mapping(path)


def test_a_whole_mapping(tmp_path: Path) -> None:
    mapping = read(tmp_path, WHOLE)
    shims, findings, old = mapping.sheets
    assert mapping.version == "3"
    assert shims.record is not None
    assert shims.record.name == "shim"
    assert shims.reading == ReadingOptions(3, ";", '"', "cp1252")
    assert (shims.decimal, shims.date_order, shims.needs) == (",", "day", ("Shim L found",))
    assert [(c.heading, c.field and c.field.name, c.unit, c.decimal) for c in shims.columns] == [
        ("Job No.", "job", None, None),
        ("Shim L found", "thickness", "thou", "."),
        ("Remarks", None, None, None),
    ]
    assert [(f.field.name, f.text) for f in shims.fixed] == [
        ("stage", "as_found"),
        ("location", "left side"),
        ("pieces", "1"),
    ]
    assert shims.words == {"thickness_basis": {"gem.": "measured"}}
    assert findings.habits == {"full_strip_lists_only_bad"}
    assert old.ignored


def test_which_entries_speak_of_a_sheet(tmp_path: Path) -> None:
    mapping = read(tmp_path, WHOLE)
    assert [e.number for e in mapping.entries_for(Path("a/JOBS_2019.xlsx"), "Jobs 2019")] == [1]
    assert [e.number for e in mapping.entries_for(Path("any.xlsx"), "findings")] == [2]
    assert mapping.entries_for(Path("jobs_2019.xlsx"), None) == ()
    assert mapping.ignores(Path("old_jobs.csv"), None)
    assert not mapping.ignores(Path("jobs.csv"), None)


def test_digests_follow_the_entry_not_its_layout(tmp_path: Path) -> None:
    one = read(tmp_path, '[[sheet]]\nrecord = "job"\nfile = "a"\n')
    same = read(tmp_path, '# a remark\n[[sheet]]\nfile = "a"\nrecord = "job"\n')
    other = read(tmp_path, '[[sheet]]\nrecord = "job"\nfile = "b"\n')
    assert one.sheets[0].digest == same.sheets[0].digest != other.sheets[0].digest
    assert one.digest == same.digest != other.digest


def test_two_entries_that_read_one_file_in_two_ways(tmp_path: Path) -> None:
    mapping = read(tmp_path, '[[sheet]]\nrecord="job"\ndelimiter=";"\n[[sheet]]\nrecord="unit"\ndelimiter=","\n')
    with pytest.raises(LoadError, match=r"two \[\[sheet\]\] entries give x\.csv a different delimiter: ';' and ','"):
        mapping.reading_options(Path("x.csv"), None)


BLOCK = '[[sheet]]\nrecord = "finding"\n'


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", r"m\.toml: expected at least one \[\[sheet\]\] entry, found none"),
        ("versoin = 1\n" + BLOCK, "there is no key 'versoin'; did you mean 'version'"),
        ("[[sheets]]\n", "there is no key 'sheets'; did you mean 'sheet'"),
        (BLOCK + "colums = {}\n", r"there is no key 'sheet\[1\]\.colums'; did you mean 'columns'"),
        ('[[sheet]]\nrecord = "findings"\n', "no record type 'findings'; did you mean 'finding'"),
        ("[[sheet]]\nfile = 'x'\n", "says neither record = ... nor ignore = true"),
        ('[[sheet]]\nignore = true\nrecord = "job"\n', "says ignore = true and also record"),
        (BLOCK + "heading_row = 0\n", "heading_row: expected a row number from 1, found 0"),
        (BLOCK + 'delimiter = ";;"\n', "delimiter: expected one character"),
        (BLOCK + 'quote = "<>"\n', "quote: expected one character"),
        (BLOCK + 'encoding = "cp1525"\n', "no encoding 'cp1525'; did you mean 'cp1252'"),
        (BLOCK + 'encoding = "base64"\n', "no encoding 'base64'"),
        (BLOCK + 'decimal = "comma"\n', r"decimal: expected \"\.\" or \",\", found 'comma'"),
        (BLOCK + 'date_order = "dmy"\n', "date_order: expected"),
        (BLOCK + 'habits = ["full_strip_list_only_bad"]\n', "did you mean 'full_strip_lists_only_bad'"),
        ('[[sheet]]\nrecord = "job"\nhabits = ["full_strip_lists_only_bad"]\n', "speaks of finding, not job"),
        (BLOCK + 'needs = "x"\n', "needs: expected a list of texts"),
        (BLOCK + '[sheet.columns]\n"Pos" = "positon"\n', "finding has no field 'positon'; did you mean 'position'"),
        (BLOCK + '[sheet.columns]\n"Pos" = 3\n', "expected a field's name or a table"),
        (BLOCK + '[sheet.columns]\n"Gap" = { field = "ring_gap", unti = "mm" }\n', "did you mean 'unit'"),
        (BLOCK + '[sheet.columns]\n"Gap" = { field = "ring_gap", unit = "km" }\n', "'km' is not a unit of ring_gap"),
        (
            BLOCK + '[sheet.columns]\n"Pos" = { field = "position", unit = "mm" }\n',
            "position is a text and takes no unit",
        ),
        (BLOCK + '[sheet.columns]\n"Pos" = { ignore = true, unit = "mm" }\n', "says ignore = true and more"),
        (BLOCK + '[sheet.fixed]\ngrade = true\nposiiton = "x"\n', "did you mean 'position'"),
        (BLOCK + '[sheet.fixed]\nposition = ""\n', "expected a text, number, date or true or false"),
        (
            BLOCK + '[sheet.columns]\n"P" = "position"\n[sheet.fixed]\nposition = "x"\n',
            "from a column and also fixes it",
        ),
        (BLOCK + '[sheet.words.role]\n"Grund" = "causes"\n', "'causes' is not a word for role; did you mean 'cause'"),
        (BLOCK + '[sheet.words.entered]\n"x" = "y"\n', "entered is a date"),
        ("x = [\n", "is not valid TOML"),
    ],
)
def test_what_is_wrong_is_named_with_the_nearest_right_word(tmp_path: Path, text: str, sentence: str) -> None:
    with pytest.raises(LoadError, match=sentence) as raised:
        read(tmp_path, text)
    assert "\n" not in str(raised.value)


def test_a_mapping_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(LoadError, match="cannot be read: No such file"):
        read_mapping(tmp_path / "none.toml")
    (tmp_path / "m.toml").write_bytes(b"# \xff\n")
    with pytest.raises(LoadError, match="is not UTF-8 text"):
        read_mapping(tmp_path / "m.toml")
