"""Headings compare as people write them, and give up their unit."""

from __future__ import annotations

import pytest

from ingest.heading_text import (
    column_letter,
    find_heading_row,
    fold_heading,
    fold_word,
    known_headings,
    names_of_field,
    split_unit,
    unique_headings,
)  # fmt: skip
from ingest.records import RECORDS, record_named


@pytest.mark.parametrize("text", ["Ring gap", "ring_gap", "RING.GAP", "  ring - gap ", "Ring\ngap"])
def test_case_signs_and_spaces_do_not_matter(text: str) -> None:
    assert fold_heading(text) == "ring gap"


@pytest.mark.parametrize(
    ("heading", "base", "unit"),
    [
        ("odometer (km)", "odometer", "km"),
        ("Odometer [mi]", "Odometer", "mi"),
        ("end float, thou", "end float", "thou"),
        ("running torque / lbf-in", "running torque", "lbf.in"),
        ("running torque / stone", None, None),  # not a spelling that we know
        ("running torque / lb-in", "running torque", "lbf.in"),
        ("value N·m", "value", "N.m"),
        ("worked h", "worked", "h"),
        ("job/unit", None, None),
        ("(km)", None, None),
    ],
)
def test_unit_of_a_heading(heading: str, base: str | None, unit: str | None) -> None:
    assert split_unit(heading) == ((base, unit) if base else None)


def test_words_fold_as_typing_does() -> None:
    assert fold_word("  As_Found ") == "as found"


def test_no_heading_means_two_fields_of_one_record() -> None:
    for record in RECORDS:
        seen: dict[str, str] = {}
        for field in record.fields:
            for name in names_of_field(field):
                assert seen.setdefault(name, field.name) == field.name, (record.name, name)


def test_every_template_heading_is_understood() -> None:
    for record in RECORDS:
        for field in record.fields:
            parts = split_unit(field.heading)
            assert fold_heading(parts[0] if parts else field.heading) in known_headings(record)


def test_heading_row_below_titles_and_above_words_that_look_alike() -> None:
    rows = [["Findings", None], [None, None], ["Job", "Position", "Grade"], ["J1", "position", "2"]]
    assert find_heading_row(rows, [known_headings(record_named("finding"))]) == (2, 3)


def test_heading_row_without_known_words_is_the_first_full_row_of_words() -> None:
    assert find_heading_row([["List"], ["Auftrag", "Stelle"], ["17", "links"]], []) == (1, 0)


def test_headings_become_unique() -> None:
    assert unique_headings(["km", "", "km", None, "km"]) == ("km", "(column B)", "km#2", "(column D)", "km#3")


def test_column_letters() -> None:
    # Common practice of spreadsheets, no source: the 27th column is AA, the 703rd AAA.
    assert [column_letter(i) for i in (0, 25, 26, 701, 702)] == ["A", "Z", "AA", "ZZ", "AAA"]
