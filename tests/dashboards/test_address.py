"""A view stands in the address, and comes out of it as it went in."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.question import QuestionError
from analytics.scope import Scope
from dashboards.address import FILTERS, View, changed, narrowed, query_pairs, read_view


def test_an_empty_address_asks_for_everything() -> None:
    assert read_view("") == read_view(None) == View(Scope(), None, {})


def test_filters_days_and_options_are_read() -> None:
    view = read_view("?family=M5&since=2020-01-01&as_of=2024-03-31&failure-rates.by=supplier")
    assert view.scope == Scope(family="M5", since=dt.date(2020, 1, 1))
    assert view.as_of == dt.date(2024, 3, 31)
    assert view.options == {"failure-rates": {"by": "supplier"}}


def test_a_view_without_a_day_names_none() -> None:
    assert read_view("").as_of is None


@pytest.mark.parametrize(
    ("search", "sentence"),
    [
        ("?familly=M5", "there is no filter 'familly'; did you mean 'family'?"),
        ("?q=1", "there is no filter 'q'; there are family, component"),
        ("?family=A&family=B", "the filter 'family' is given twice"),
        ("?since=last week", "'since' takes a day such as 2024-03-31, not 'last week'"),
        ("?as_of=2024-02-30", "'as_of' takes a day"),
        ("?as_of=20260101", "'as_of' takes a day such as 2024-03-31, not '20260101'"),
        ("?until=2026-W10", "'until' takes a day such as 2024-03-31, not '2026-W10'"),
        ("?since=2024-02-01&until=2024-01-01", "'since' .2024-02-01. lies after 'until'"),
        ("?family=" + "x" * 3000, "too long"),
    ],
)
def test_an_address_that_cannot_be_asked_is_refused_in_one_sentence(search: str, sentence: str) -> None:
    with pytest.raises(QuestionError, match=sentence.replace("?", r"\?")):
        read_view(search)


def test_empty_values_say_nothing() -> None:
    assert read_view("?family=&component=") == View()


def test_changing_a_filter_keeps_the_others_in_the_order_of_the_controls() -> None:
    assert changed("?as_of=2024-03-31&family=M5", {"component": "bearing"}) == (
        "?family=M5&component=bearing&as_of=2024-03-31"
    )
    assert changed("?family=M5", {"family": None}) == ""


words = st.text(min_size=1, max_size=40).filter(lambda text: text.strip() == text)


@given(st.dictionaries(st.sampled_from(FILTERS[:8]), words), words)
def test_whatever_a_workshop_calls_things_comes_back_out(filters: dict[str, str], option: str) -> None:
    search = changed("", {**filters, "failure-rates.by": option})
    view = read_view(search)
    assert view.scope.filters() == filters
    assert view.options == {"failure-rates": {"by": option}}
    assert changed(search, {}) == search
    assert dict(query_pairs(search)) == {**filters, "failure-rates.by": option}


def test_what_was_narrowed_down_goes_along_as_far_as_the_next_page_can_be() -> None:
    search = "?family=M5&component=bearing&as_of=2024-03-31&failure-rates.by=supplier"
    assert narrowed(search, ("family", "as_of")) == "?family=M5&as_of=2024-03-31"
    assert narrowed(search, ()) == narrowed("", FILTERS) == ""
