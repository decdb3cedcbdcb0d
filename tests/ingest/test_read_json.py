"""JSON is read with its numbers exact; what is no row is refused by name, never dropped."""

from __future__ import annotations

import json
from pathlib import Path

import duckdb
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.plan import LoadError, SourceTable
from ingest.raw_table import filled
from ingest.read_json import read_json

Rows = list[tuple[object, ...]]


def read(folder: Path, text: str | bytes, name: str = "sightings.json") -> list[tuple[SourceTable, Rows]]:
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    connection = duckdb.connect()
    return [(t, connection.sql(f"from {t.raw_table}").fetchall()) for t in read_json(connection, path)]


def test_a_list_of_objects_with_numbers_flags_and_gaps(tmp_path: Path) -> None:
    text = '[{"unit": "U1", "odometer (km)": 123456.70, "ok": true}, {"unit": "U2", "seen": null, "n": 1E3}]'
    [(table, rows)] = read(tmp_path, text)
    assert table.headings == ("unit", "odometer (km)", "ok", "seen", "n")
    assert (table.heading_row, table.rows, table.typed_cells, table.sheet) == (0, 2, True, None)
    assert rows == [(1, "U1", "123456.7", "true", None, None), (2, "U2", None, None, None, "1000")]


def test_numbers_of_many_digits_stay_exact(tmp_path: Path) -> None:
    [(_, rows)] = read(tmp_path, '[{"a": 0.1234567890123456789, "b": 12345678901234567890}]')
    assert rows == [(1, "0.1234567890123456789", "12345678901234567890")]


def test_lists_by_name_are_sheets(tmp_path: Path) -> None:
    made = read(tmp_path, '{"jobs": [{"job": "J1"}], "findings": [{"job": "J1", "position": "a"}]}')
    assert [(table.sheet, table.rows) for table, _ in made] == [("jobs", 1), ("findings", 1)]


def test_columns_by_name_are_one_table(tmp_path: Path) -> None:
    [(table, rows)] = read(tmp_path, '{"job": ["J1", "J2"], "grade": [1, null]}')
    assert (table.headings, rows) == (("job", "grade"), [(1, "J1", "1"), (2, "J2", None)])
    with pytest.raises(LoadError, match="'grade' has 1 values, 'job' has 2"):
        read(tmp_path, '{"job": ["J1", "J2"], "grade": [1]}')


@pytest.mark.parametrize("name", ["sightings.json", "sightings.jsonl"])
def test_lines_and_the_lines_that_are_no_row(tmp_path: Path, name: str) -> None:
    text = '{"unit": "U1"}\n\n{"unit": \n[1]\n{"unit": "U2", "unit": "U3"}\n{"unit": "U4", "x": [{"y": 1}]}\n'
    text += '{"unit": "U5"}\n'
    if name.endswith("json"):
        text = text.replace('{"unit": \n', "7\n")
    [(table, rows)] = read(tmp_path, text, name)
    assert rows[0] == (1, "U1")
    assert rows[-1] == (7, "U5")
    assert [refused.row_number for refused in table.refused] == [3, 4, 5, 6]
    assert table.rows + len(table.refused) == 6
    assert "names 'unit' twice" in table.refused[2].reason


def test_objects_inside_and_lists_of_texts(tmp_path: Path) -> None:
    [(table, rows)] = read(tmp_path, '[{"unit": {"tag": "U1"}, "declined": ["2nd ring", "3rd ring"]}]')
    assert (table.headings, rows) == (("unit.tag", "declined"), [(1, "U1", "2nd ring; 3rd ring")])


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "the file is empty"),
        ("[1, 2", "line 1: not valid JSON"),
        ('[{"a": NaN}]', "NaN is no JSON number"),
        ("[]", "expected objects with fields, found none"),
        ("7", "expected a list of objects, or lists by name, found a number"),
        ('{"a": 1,\n"b": 2}', "found one object"),
        (b'[{"a": "\xff"}]', "JSON has to be UTF-8"),
        ("[" * 100_000, "nested too deeply|not valid JSON"),
    ],
)
def test_files_that_hold_no_rows(tmp_path: Path, text: str | bytes, sentence: str) -> None:
    with pytest.raises(LoadError, match=sentence):
        read(tmp_path, text)


values = st.one_of(st.none(), st.booleans(), st.integers(-(10**12), 10**12), st.text(max_size=6))


@settings(max_examples=50, deadline=None)
@given(st.lists(st.fixed_dictionaries({"a": values, "b": values}), min_size=1, max_size=8))
def test_lists_and_lines_read_alike(tmp_path_factory: pytest.TempPathFactory, items: list[dict[str, object]]) -> None:
    folder = tmp_path_factory.mktemp("json")

    def text(value: object) -> str | None:
        return None if value is None else str(value).lower() if isinstance(value, bool) else filled(str(value))

    expected = [(text(one["a"]), text(one["b"])) for one in items if text(one["a"]) or text(one["b"])]
    items = [{"a": one["a"], "b": one["b"]} for one in items]
    [(whole, whole_rows)] = read(folder, json.dumps(items))
    [(lines, line_rows)] = read(folder, "\n".join(json.dumps(one) for one in items), "x.jsonl")
    assert [row[1:] for row in whole_rows] == [row[1:] for row in line_rows] == expected
    assert whole.content_digest == lines.content_digest
