"""Tables show estimates with their limits, and words where there is too little to say."""

from __future__ import annotations

import re

import polars as pl
from dash import html

from analytics.answer import Column
from dashboards.tables import plain_table, rows_table, shown_columns

COLUMNS = (
    Column("position", "Position"),
    Column("rate", "Failed", unit="share"),
    Column("rate_low", "from", unit="share"),
    Column("rate_high", "to", unit="share"),
    Column("said", "If too few"),
    Column("trend", "Odds a year", unit="factor"),
    Column("trend_low", "from", unit="factor"),
    Column("trend_high", "to", unit="factor"),
    Column("distance", "Known distance", unit="km"),
    Column("nothing", "Never on record"),
)
ROWS = pl.DataFrame(
    {
        "position": ["slider_ring", "chain"],
        "rate": [0.338, None],
        "rate_low": [0.271, None],
        "rate_high": [0.416, None],
        "said": [None, "too few to say (3 of 10 inspected)"],
        "trend": [1.2, None],
        "trend_low": [1.05, None],
        "trend_high": [1.37, None],
        "distance": [1_250_000, 3],
        "nothing": [None, None],
    }
)


def test_limits_are_shown_with_the_estimate_before_them() -> None:
    assert [(c.column.name, c.low, c.high) for c in shown_columns(COLUMNS)] == [
        ("position", None, None),
        ("rate", "rate_low", "rate_high"),
        ("trend", "trend_low", "trend_high"),
        ("distance", None, None),
        ("nothing", None, None),
    ]


def test_the_first_estimate_says_why_there_is_none_and_the_others_a_dash() -> None:
    rate, trend = shown_columns(COLUMNS)[1:3]
    assert [rate.said(row) for row in ROWS.iter_rows(named=True)] == [
        "33.8 % (27.1 to 41.6)", "too few to say (3 of 10 inspected)",
    ]  # fmt: skip
    assert [trend.said(row) for row in ROWS.iter_rows(named=True)] == ["1.20 (1.05 to 1.37)", "–"]


def test_a_heading_says_the_unit_once() -> None:
    headings = {c.column.name: c.heading for c in shown_columns(COLUMNS)}
    assert headings["distance"] == "Known distance, km"
    assert headings["rate"] == "Failed"
    assert shown_columns([Column("m", "By month", unit="months")])[0].heading == "By month"


def headings(table: str) -> list[str]:
    return re.findall(r"<button[^>]*>([^<]*)</button></th>", table)


def test_a_table_holds_plain_values_to_sort_by_and_the_words_to_show() -> None:
    table = rows_table(COLUMNS, ROWS, "Failed positions", narrow=("position", "rate"))
    assert '<tr data-row="0" tabindex="0"><td class="word">slider ring</td>' in table
    assert '<td class="number" data-value="0.338">33.8 % (27.1 to 41.6)</td>' in table
    assert '<td class="number" data-value="">too few to say (3 of 10 inspected)</td>' in table
    assert headings(table) == ["Position", "Failed", "Odds a year", "Known distance, km"]
    wide = re.findall(r'<th scope="col" class="\w+ wide"[^>]*><button[^>]*>([^<]*)<', table)
    assert wide == ["Odds a year", "Known distance, km"]


def test_words_of_a_table_are_never_markup() -> None:
    told = pl.DataFrame({"position": ["<b onclick='x'>"]})
    table = rows_table((Column("position", "Position & place"),), told, 'Said "so"')
    assert "<b " not in table
    assert "&lt;b onclick=&#39;x&#39;&gt;" in table
    assert headings(table) == ["Position &amp; place"]
    assert 'aria-label="Said &#34;so&#34;"' in table


def test_a_plain_table_leaves_out_what_is_never_on_record_and_links_where_asked() -> None:
    table = plain_table(COLUMNS, ROWS, {"position": lambda name: html.A(name, href=f"/{name}")}).children
    head, body = table.children
    assert [th.children for th in head.children.children] == ["Position", "Failed", "Odds a year", "Known distance, km"]
    link = body.children[0].children[0].children
    assert (link.children, link.href) == ("slider_ring", "/slider_ring")


def test_a_long_table_is_shown_a_page_at_a_time() -> None:
    many = pl.DataFrame({"position": [str(n) for n in range(100)]})
    table = rows_table((Column("position", "Position"),), many, "Many")
    assert table.count("<tr data-row=") == 100
    assert table.count(" hidden>") == 88
    assert "Rows 1 to 12 of 100" in table
    assert "Rows after" not in rows_table((Column("position", "Position"),), many.head(12), "Few")


def test_a_section_may_keep_fewer_columns_and_their_limits_and_words_stay_with_them() -> None:
    table = rows_table(COLUMNS, ROWS, "Failed positions", kept=("position", "rate"))
    assert headings(table) == ["Position", "Failed"]
    assert re.findall(r'<td class="number"[^>]*>([^<]*)</td>', table) == [
        "33.8 % (27.1 to 41.6)", "too few to say (3 of 10 inspected)",
    ]  # fmt: skip


def test_words_in_place_of_an_estimate_keep_its_column() -> None:
    too_few = ROWS.filter(ROWS["rate"].is_null())
    assert headings(rows_table(COLUMNS, too_few, "Failed positions")) == [
        "Position", "Failed", "Known distance, km",
    ]  # fmt: skip
