"""Records split as RFC 4180 says, whatever the delimiter; the delimiter is found or asked for."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.heading_text import known_headings
from ingest.mapping import ReadingOptions
from ingest.plan import LoadError
from ingest.records import RECORDS
from ingest.text_dialect import Dialect, find_dialect

KNOWN = [known_headings(record) for record in RECORDS]
COMMA = Dialect(",", '"')


def fields(text: str, dialect: Dialect = COMMA) -> list[list[str] | None]:
    return [record.fields for record in dialect.records(text)]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # RFC 4180 (Shafranovich 2005), section 2, rules 1, 2, 5, 6 and 7, its own examples
        ("aaa,bbb,ccc\nzzz,yyy,xxx\n", [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        ("aaa,bbb,ccc\nzzz,yyy,xxx", [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        ('"aaa","bbb","ccc"\nzzz,yyy,xxx', [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        ('"aaa","b\nbb","ccc"\nzzz,yyy,xxx', [["aaa", "b\nbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        ('"aaa","b""bb","ccc"', [["aaa", 'b"bb', "ccc"]]),
    ],
)
def test_examples_of_the_standard(text: str, expected: list[list[str]]) -> None:
    assert fields(text) == expected


cell = st.text(st.sampled_from(list('ab1 ,;"\n\u00e4')), max_size=6)


@given(st.lists(st.lists(cell, min_size=2, max_size=4), min_size=1, max_size=6), st.sampled_from(",;\t|"))
def test_what_the_standard_library_writes_is_read_back(rows: list[list[str]], delimiter: str) -> None:
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter, lineterminator="\n", quoting=csv.QUOTE_ALL).writerows(rows)
    assert fields(out.getvalue(), Dialect(delimiter, '"')) == rows


@given(st.text(st.sampled_from(list('ab,"\n ')), max_size=40))
def test_no_text_is_lost_whatever_it_is(text: str) -> None:
    kept = [record.text for record in COMMA.records(text)]
    assert "".join(kept).replace("\n", "").replace(" ", "") == text.replace("\n", "").replace(" ", "")


def test_lines_are_counted_through_quoted_breaks_and_blank_lines() -> None:
    assert [record.line for record in COMMA.records('a,b\n\n1,"x\ny"\n2,z\n')] == [1, 3, 5]


@pytest.mark.parametrize("line", ['4,"open', '4,"ab"c', '"x"y,4'])
def test_a_quote_out_of_place_spoils_one_line_only(line: str) -> None:
    assert fields(f"a,b\n{line}\n5,6\n7,8\n") == [["a", "b"], None, ["5", "6"], ["7", "8"]]


def test_a_quote_inside_a_field_is_an_inch_mark() -> None:
    assert fields('a,b\n1,5" pipe\n') == [["a", "b"], ["1", '5" pipe']]


@pytest.mark.parametrize(
    ("text", "delimiter", "quote"),
    [
        ("job,position\nJ1,ring\n", ",", '"'),
        ("job;ring_gap (mm);end_float (mm)\nJ1;1,5;0,2\nJ2;0,5;0,1\n", ";", '"'),
        ("job\tposition\nJ1\tring, 2nd; left\n", "\t", '"'),
        ("job|position\nJ1|x\n", "|", '"'),
        ("Findings, all; of 2019\n\njob;position;ring_gap (mm)\nJ1;a,b;1,5\n", ";", '"'),
        ("job,position\n'J1','2nd, left'\n'J2','x'\n", ",", "'"),
        ("Auftrag;Summe\nA1;1,5\nA2;2,5\n", ";", '"'),
    ],
)
def test_dialect_is_found(text: str, delimiter: str, quote: str) -> None:
    assert find_dialect("x.csv", text, ReadingOptions(), KNOWN) == Dialect(delimiter, quote)


def test_a_dialect_that_cannot_be_told_is_asked_for() -> None:
    with pytest.raises(LoadError, match=r"comma or semicolon separates the columns; say delimiter = "):
        find_dialect("x.csv", "aa;b,c\ndd;e,f\n", ReadingOptions(), KNOWN)
    assert find_dialect("x.csv", "aa;b,c\ndd;e,f\n", ReadingOptions(delimiter=";"), KNOWN).delimiter == ";"


def test_plain_prose_is_no_table() -> None:
    with pytest.raises(LoadError, match="found no columns"):
        find_dialect("notes.txt", "Remember the oil\nand the seals\n", ReadingOptions(), KNOWN)
