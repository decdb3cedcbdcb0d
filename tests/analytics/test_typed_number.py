"""A number is read as it was typed, by one rule, or refused."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.question import QuestionError
from analytics.typed_number import typed_number


def distance(text: str) -> float:
    return typed_number(text, "km", "a distance in km such as 40000", lambda km: 0 < km <= 1_000_000)


def length(text: str) -> float:
    return typed_number(text, "pack-mm", "a number such as 1.25", lambda mm: abs(mm) < 1_000)


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("120000", 120_000), ("120,5", 120.5), ("120.5", 120.5), ("120 000", 120_000), (" 1 000 000 ", 1_000_000),
        ("120\u2009000", 120_000), ("120\u202f000,5", 120_000.5), ("120\u00a0000.500", 120_000.5),
        ("120.0000", 120), ("0.125", 0.125), ("0,125", 0.125), (",5", 0.5), ("+7", 7), ("1234.567", 1234.567),
    ],
)  # fmt: skip
def test_what_has_one_meaning_is_read(text: str, number: float) -> None:
    assert distance(text) == number


@pytest.mark.parametrize(
    ("text", "either"),
    [
        ("120,000", "120000 or 120"), ("120.000", "120000 or 120"), ("1.250", "1250 or 1.25"), ("12,345", "12345 or 12.345"),
        ("1,000,000", "1000000"), ("1.000.000", "1000000"),
    ],
)  # fmt: skip
def test_what_may_set_thousands_apart_is_refused_with_ways_to_write_it(text: str, either: str) -> None:
    with pytest.raises(QuestionError) as refused:
        distance(text)
    assert str(refused.value) == f"option 'km' takes a distance in km such as 40000, not '{text}': write {either}"


@pytest.mark.parametrize(
    ("text", "number"), [("1.250", 1.25), ("66,350", 66.35), ("-0.300", -0.3), ("\u22121,500", -1.5)]
)
def test_three_decimals_of_what_cannot_be_thousands_are_read(text: str, number: float) -> None:
    assert length(text) == number


@pytest.mark.parametrize(
    "text",
    ["", " ", "far", "1 20", "12 00", "1,2,3", "1.000,5", "1,000.5", "1_000", "1e5", "nan", "inf", "-", "5.", ".", "--5", "0",
     "-5", "1000001", "9" * 400, "\u0663", "5 km"],
)  # fmt: skip
def test_what_is_no_such_number_is_refused(text: str) -> None:
    with pytest.raises(QuestionError) as refused:
        distance(text)
    assert str(refused.value) == f"option 'km' takes a distance in km such as 40000, not '{text[:40]}'"


@given(st.integers(1, 1_000_000), st.sampled_from(".,"), st.integers(0, 99))
def test_whatever_is_written_plainly_comes_back(whole: int, mark: str, hundredths: int) -> None:
    value = whole if whole == 1_000_000 else whole + hundredths / 100
    for written in (f"{value:.2f}", f"{value:,.2f}".replace(",", " ")):
        assert distance(written.replace(".", mark)) == pytest.approx(value, abs=1e-9)
