"""What a person does with a table: sort it, turn its pages, walk through it with the keyboard, copy from it."""

from __future__ import annotations

import pytest
from playwright.sync_api import Locator, Page, expect

from tests.browser.conftest import Opener

PARTS = "#parts-usage"


@pytest.fixture
def page(by_hand: str, visit: Opener) -> Page:
    opened: Page = visit(f"{by_hand}/parts-manager")
    return opened


def column(page: Page, heading: str) -> list[str]:
    """Return the words of a column in the rows that can be seen."""
    headings = page.locator(f"{PARTS} .rows th").all_inner_texts()
    place = next(n for n, told in enumerate(headings) if told.startswith(heading))
    return [row.locator("td").nth(place).inner_text() for row in page.locator(f"{PARTS} .rows tbody tr:visible").all()]


def heading(page: Page, name: str) -> Locator:
    return page.locator(PARTS).get_by_role("columnheader", name=name)


def test_a_heading_sorts_upwards_then_downwards_then_as_the_answer_came(page: Page) -> None:
    as_it_came = column(page, "Part")
    heading(page, "For 100 jobs").click()
    expect(heading(page, "For 100 jobs")).to_have_attribute("aria-sort", "ascending")
    upwards = [float(said.split(" (")[0]) for said in column(page, "For 100 jobs")]
    assert upwards == sorted(upwards)
    heading(page, "For 100 jobs").click()
    downwards = [float(said.split(" (")[0]) for said in column(page, "For 100 jobs")]
    assert downwards == sorted(downwards, reverse=True)
    assert max(upwards) < max(downwards)  # all rows are sorted, not those alone that could be seen
    heading(page, "For 100 jobs").click()
    assert column(page, "Part") == as_it_came


def test_the_pages_of_a_table_are_turned_and_a_row_of_any_is_chosen(page: Page) -> None:
    before, after = (page.locator(PARTS).get_by_role("button", name=f"Rows {way}") for way in ("before", "after"))
    expect(before).to_be_disabled()
    after.click()
    expect(page.locator(f"{PARTS} .turner")).to_contain_text("Rows 13 to 15 of 15")
    expect(after).to_be_disabled()
    last = column(page, "Part")[-1]
    page.locator(f"{PARTS} .rows tbody tr:visible").last.click()
    expect(page.locator(f"{PARTS} .behind h3")).to_contain_text(last)
    expect(page.locator(f"{PARTS} .rows tr[aria-selected=true]")).to_contain_text(last)
    before.click()
    expect(page.locator(f"{PARTS} .turner")).to_contain_text("Rows 1 to 12 of 15")


def test_the_keyboard_reaches_headings_rows_and_pages(page: Page) -> None:
    rows = page.locator(f"{PARTS} .rows tbody tr")
    rows.first.focus()
    page.keyboard.press("ArrowUp")
    expect(heading(page, "Part").locator("button").first).to_be_focused()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    expect(page.locator(f"{PARTS} .rows th").nth(1)).to_have_attribute("aria-sort", "ascending")
    page.keyboard.press("ArrowDown")
    expect(rows.first).to_be_focused()
    page.keyboard.press("End")
    expect(rows.nth(11)).to_be_focused()
    page.keyboard.press("PageDown")
    expect(rows.nth(12)).to_be_focused()
    assert page.locator(f"{PARTS} .rows [tabindex='0']").count() == 1  # one stop of the tabulator
    page.keyboard.press("Space")
    expect(page.locator(f"{PARTS} .behind h3")).to_be_focused()


def test_words_of_a_table_can_be_marked_without_choosing_their_row(page: Page) -> None:
    cell = page.locator(f"{PARTS} .rows tbody td").first
    box = cell.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 11, box["y"] + 12)
    page.mouse.down()
    page.mouse.move(box["x"] + 40, box["y"] + 12, steps=4)
    page.mouse.up()
    assert page.evaluate("window.getSelection().toString()") != ""
    page.wait_for_timeout(300)
    expect(page.locator(f"{PARTS} .behind h3")).to_have_count(0)


def test_a_day_is_asked_for_once_it_is_whole(page: Page) -> None:
    page.get_by_text("Narrow down").click()
    page.get_by_label("As known on").focus()
    page.keyboard.type("0331")
    page.keyboard.type("2")
    page.wait_for_timeout(300)
    assert "as_of" not in page.url
    page.keyboard.type("024")
    page.wait_for_url("**?as_of=2024-03-31")
    expect(page.locator("#shown-for")).to_contain_text("as known on 31 Mar 2024")
