"""Controls are the browser's own fields, set to the view, and say what their value usually is."""

from __future__ import annotations

from dashboards.address import read_view
from dashboards.controls import choice_control, day_control, text_control
from dashboards.filter_bar import filter_controls

CHOICES = [("x", "the first"), ("y", "the <second>")]


def test_a_choice_is_set_to_its_value_and_names_what_is_usual() -> None:
    told = choice_control("lives.by", "One row is", CHOICES, "y", "x", none=None)
    assert told == (
        '<label class="control">One row is<select name="lives.by" data-usual="x"><option value="x">the first</option>'
        '<option value="y" selected>the &lt;second&gt;</option></select></label>'
    )


def test_a_value_that_is_not_offered_is_shown_as_not_on_record() -> None:
    told = choice_control("family", "Unit family", CHOICES, "z", None, none="all")
    assert '<option value="">all</option>' in told
    assert '<option value="z" selected>z (not on record)</option>' in told


def test_no_choice_is_chosen_where_there_is_none() -> None:
    assert '<option value="" selected>all</option>' in choice_control("family", "", CHOICES, None, None, none="all")


def test_words_and_days_are_fields_of_their_kind() -> None:
    assert 'name="a.b" data-usual="" value="&#34;1.25"' in text_control("a.b", "Pack", '"1.25', None)
    assert '<input type="date" min="1900-01-01"' in day_control("since", "From", "2024-03-31")
    assert 'value="2024-03-31"' in day_control("since", "From", "2024-03-31")


def test_the_controls_of_a_page_say_what_the_view_says() -> None:
    view = read_view("?family=y&as_of=2024-03-31")
    told = filter_controls(("family", "as_of", "duty"), {"family": ["x", "y"], "duty": ["road"]}, view)
    assert '<option value="y" selected>' in told
    assert 'name="as_of" data-usual="" value="2024-03-31"' in told
    assert told.count('<option value="" selected>all</option>') == 1
