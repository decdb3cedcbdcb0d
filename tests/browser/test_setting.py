"""The page of setting on the screen, on a phone and on paper: the pack first, the form after it, cautions always."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import PHONE, WIDE, Opener, settled

FIRST_TRY = "#first-try-shims"
# Where each heading of a table stands, and where the cells of its first row do, by column.
PLACES = """() => [...document.querySelectorAll('table.rows')].map(table => {
  const places = (kind) => Object.fromEntries([...table.querySelectorAll(kind)].map(cell => {
    const box = cell.getBoundingClientRect();
    return [cell.cellIndex, [Math.round(box.left), Math.round(box.width)]];
  }));
  return [table.closest('.section').id, places('th'), places('tbody tr:first-child td')];
})"""


def top(page: Page, part: str) -> float:
    box = page.locator(f"{FIRST_TRY} {part} >> nth=0").bounding_box()
    assert box is not None
    return float(box["y"])


@pytest.mark.parametrize("size", [WIDE, PHONE])
def test_the_pack_to_try_stands_above_the_form(by_hand: str, visit: Opener, size: tuple[int, int]) -> None:
    page = visit(f"{by_hand}/setting", size)
    expect(page.locator(f"{FIRST_TRY} .sentence")).to_be_visible()
    assert top(page, ".headline") < top(page, ".chart") < top(page, ".other-case") < top(page, "table.rows")
    box = page.locator(f"{FIRST_TRY} .headline").bounding_box()
    assert box is not None
    assert box["y"] < size[1]  # seen without scrolling
    form = page.get_by_label("The pack found")
    expect(form).to_be_hidden()
    page.locator(f"{FIRST_TRY} .other-case summary").click()
    expect(form).to_be_visible()


def test_a_form_with_something_in_it_is_open(by_hand: str, visit: Opener) -> None:
    page = visit(f"{by_hand}/setting")
    page.locator(f"{FIRST_TRY} .other-case summary").click()
    page.get_by_label("The pack found").fill("1.25")
    page.get_by_label("The pack found").press("Enter")
    page.wait_for_url("**1.25**")
    page.reload()
    settled(page)
    expect(page.get_by_label("The pack found")).to_have_value("1.25")
    expect(page.get_by_label("The pack found")).to_be_visible()


@pytest.mark.parametrize("size", [WIDE, (800, 900), PHONE])
def test_every_heading_stands_over_its_column(by_hand: str, visit: Opener, size: tuple[int, int]) -> None:
    page = visit(f"{by_hand}/setting", size)
    tables = page.locator("table.rows")
    expect(tables.first).to_be_visible()
    for section in page.locator(".section").all():
        section.scroll_into_view_if_needed()
    expect(tables).to_have_count(page.locator(".section").count())
    page.set_viewport_size({"width": size[0] - 30, "height": size[1]})  # a window that is drawn narrower
    page.wait_for_timeout(500)
    told = page.evaluate(PLACES)
    assert len(told) >= 4
    for name, headings, cells in told:
        assert headings == cells, name
        assert len(cells) >= 2, name


def test_on_paper_the_settings_sheet_has_its_cautions_and_no_control(by_hand: str, visit: Opener) -> None:
    page = visit(f"{by_hand}/setting", (760, 1000))  # about as wide as a sheet
    expect(page.locator(f"{FIRST_TRY} .rows tbody tr").first).to_be_visible()
    page.locator(f"{FIRST_TRY} .other-case summary").click()
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    page.emulate_media(media="print")
    cautions = page.locator(".cautions")
    expect(cautions).to_be_visible()
    expect(cautions).to_contain_text("unit maker's service data and local rules come first")
    sheet = page.locator(f"{FIRST_TRY} .table")
    expect(sheet.locator("tbody tr")).to_have_count(3)
    expect(sheet).to_contain_text("behind pinion head")
    expect(sheet).to_contain_text("1.250 (1.200 to 1.300)")
    expect(page.locator(f"{FIRST_TRY} .sentence")).to_be_visible()
    for gone in ("nav", ".narrow-down", ".options", ".other-case", ".hint"):
        for control in page.locator(gone).all():
            expect(control).to_be_hidden()
    for control in page.locator("input, select, .turner").all():
        expect(control).to_be_hidden()
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
