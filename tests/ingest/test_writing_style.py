"""Tell decimal marks and date orders from a column's own values, or refuse to guess."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.plan import LoadError
from ingest.writing_style import NumberEvidence, date_order, decimal_mark, number_evidence


@pytest.mark.parametrize(
    ("value", "settles"),
    [
        ("12.5", "point"), ("12,5", "comma"), ("0.250", "point"), ("0,250", "comma"), ("1.250", "either"),
        ("1,250", "either"), ("1,250.5", "point"), ("1.250,5", "comma"), ("1.234.567", "comma"), ("1,234,567", "point"),
        ("1 234,5", "comma"), ("1'234.5", "point"), ("-1.250", "either"), (".5", "point"), (",5", "comma"),
        ("12.3456", "point"), ("1234.500", "point"), ("7", None), ("ca. 120", None), ("1.2.2020", None),
        ("1,2,3", None),        ("12 mm.", None), ("", None), ("n/a.", None),
    ],
)  # fmt: skip
def test_what_one_value_says(value: str, settles: str | None) -> None:
    expected = NumberEvidence(**{settles: value}) if settles else NumberEvidence()
    assert number_evidence([value]) == expected


def test_the_mark_of_a_file_comes_from_any_of_its_columns() -> None:
    both_ways = NumberEvidence(either="1,250")
    assert decimal_mark("f.csv", {"a": both_ways, "b": NumberEvidence(point="2.5")}) == "."
    assert decimal_mark("f.csv", {"a": both_ways, "b": NumberEvidence(comma="2,5")}) == ","
    assert decimal_mark("f.csv", {"a": NumberEvidence()}) == "."


def test_an_open_or_contradicting_mark_is_refused_with_the_values() -> None:
    with pytest.raises(LoadError, match=r"f\.csv, column 'a': '1,250' can be read in two ways .* decimal = \"\.\""):
        decimal_mark("f.csv", {"a": NumberEvidence(either="1,250")})
    with pytest.raises(LoadError, match=r"'a' writes decimals with a point \('2\.5'\) and column 'b' with a comma"):
        decimal_mark("f.csv", {"a": NumberEvidence(point="2.5"), "b": NumberEvidence(comma="2,5")})


@pytest.mark.parametrize(
    ("values", "order"),
    [
        (["03.04.2020"], "day"), (["3.4.20"], "day"), (["13/04/2020", "03/04/2020"], "day"),
        (["04/13/2020", "03/04/2020"], "month"), (["04/04/2020"], "day"), (["2020-04-03"], "day"), ([], "day"),
        (["98-04-03", "20-04-03"], "year"), (["25-04-98", "20-04-03"], "day"), (["no date"], "day"),
        (["04-25-20"], "month"),
    ],
)  # fmt: skip
def test_order_of_dates(values: list[str], order: str) -> None:
    assert date_order("f.csv", "opened", values) == order
    assert date_order("f.csv", "opened", values[::-1]) == order


@pytest.mark.parametrize(
    ("values", "words"),
    [
        (["03/04/2020", "05/06/2020"], "can be read day first or month first and no other value settles it"),
        (["20-04-03"], "can be read day first or year first"),
        (["13/04/2020", "04/13/2020"], "has the day first and '04/13/2020' the month"),
        (["03.04.2020", "04/13/2020"], "has the day first and '04/13/2020' the month"),
    ],
)
def test_open_or_contradicting_orders_are_refused(values: list[str], words: str) -> None:
    with pytest.raises(LoadError, match="column 'opened'") as refused:
        date_order("f.csv", "opened", values)
    assert words in str(refused.value)
    assert "date_order" in str(refused.value)


DAYS = st.dates(dt.date(1970, 1, 1), dt.date(2068, 12, 31))
STYLES = {
    "day": ("%d/%m/%Y", "%d-%m-%Y", "%d/%m/%y", "%d-%m-%y"),
    "month": ("%m/%d/%Y", "%m-%d-%y"),
    "year": ("%y-%m-%d",),
}


@given(
    st.sampled_from([(order, style) for order, styles in STYLES.items() for style in styles]),
    st.lists(DAYS, min_size=1),
)
def test_an_order_is_found_or_refused_and_never_another(style: tuple[str, str], days: list[dt.date]) -> None:
    order, written = style
    try:
        found = date_order("f.csv", "opened", [day.strftime(written) for day in days])
    except LoadError:
        return
    first = {"day": "%d", "month": "%m", "year": "%y"}
    same_either_way = all(day.day == day.month for day in days)
    assert found == order or same_either_way, (first[found], written)
