"""Values are said as people in the workshop read them."""

from __future__ import annotations

import datetime as dt

import pytest

from dashboards.said import said, said_range


@pytest.mark.parametrize(
    ("value", "unit", "words"),
    [
        (None, "share", "–"),
        (0.0794, "share", "7.9 %"),
        (-0.0794, "share", "−7.9 %"),
        (1234.5, "money", "1,234.50"),
        (350, "um", "0.350"),
        (-14, "um", "−0.014"),
        (True, "", "yes"),
        (184250.0, "km", "184,250"),
        (2.5, "h", "2.50"),
        (0.0021, "", "0.002"),
        (dt.date(2024, 3, 4), "", "4 Mar 2024"),
        (dt.datetime(2024, 3, 4, 9, 5), "", "4 Mar 2024, 09:05"),
        ("crown_wheel_pinion", "", "crown wheel pinion"),
        ("jobs_2017.xlsx", "", "jobs_2017.xlsx"),
        ("B_100", "", "B_100"),
    ],
)
def test_a_value_is_said(value: object, unit: str, words: str) -> None:
    assert said(value, unit) == words


def test_an_estimate_is_said_with_its_limits_in_the_same_unit() -> None:
    assert said_range(0.338, 0.271, 0.416, "share") == "33.8 % (27.1 to 41.6)"
    assert said_range(0.0855, 0.0314, 0.19, "per 100,000 km") == "0.086 (0.031 to 0.190)"
    assert said_range(1.0, 0.95, 1.052, "factor") == "1.00 (0.95 to 1.05)"
    assert said_range(62.0, 40.0, 84.0, "um") == "0.062 (0.040 to 0.084)"


def test_limits_of_a_count_are_whole_numbers() -> None:
    assert said_range(38.24, 30, 46) == "38.24 (30 to 46)"
    assert said_range(1238.2, 1100, None) == "1,238 (1,100 to no limit)"
    assert said_range(62.5, 40, 84, "um") == "0.062 (0.040 to 0.084)"


def test_an_open_limit_is_said_to_be_none() -> None:
    assert said_range(1.5, 0.2, None) == "1.50 (0.20 to no limit)"


def test_an_estimate_without_limits_stands_alone() -> None:
    assert said_range(None, None, None, "share") == "–"
