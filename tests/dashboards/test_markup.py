"""Components as HTML text say the same as components, and no word of theirs becomes markup."""

from __future__ import annotations

import pytest
from dash import dcc, html
from markupsafe import Markup

from dashboards.markup import as_html, attributes


def test_components_are_written_with_their_attributes() -> None:
    part = html.Details(
        [html.Summary("More"), html.P(["a", html.Strong("b"), 3, None])],
        className="fold", open=True, hidden=False, tabIndex=-1, style={"minHeight": "4px", "color": "red"},
        **attributes(aria_label="x", data_place="0"),
    )  # fmt: skip
    assert as_html(part) == (
        '<details aria-label="x" class="fold" data-place="0" open style="min-height: 4px; color: red" tabindex="-1">'
        "<summary>More</summary><p>a<strong>b</strong>3</p></details>"
    )


def test_words_are_escaped_and_markup_stands_as_it_is() -> None:
    told = as_html([html.P("<script>", title='"x"'), Markup("<hr>"), "a & b"])
    assert told == '<p title="&#34;x&#34;">&lt;script&gt;</p><hr>a &amp; b'


def test_what_is_no_plain_element_is_refused() -> None:
    with pytest.raises(TypeError, match="Link is no plain HTML element"):
        as_html(html.P(dcc.Link("there", href="/")))
