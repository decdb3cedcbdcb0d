"""What a person does on the pages: read, narrow down, pick a mark or a row, open a job, come back."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import PHONE, Opener, settled

FAILURES = "#failure-rates"


def marks(page: Page, section: str) -> list[object]:
    return page.locator(f"{section} .chart >> nth=0").locator(".role-mark.mark-symbol path").all()


def test_the_answer_comes_first_then_chart_table_and_grounds(by_hand: str, visit: Opener) -> None:
    page = visit(f"{by_hand}/lead-technician")
    places = [
        page.locator(f"{FAILURES} {part} >> nth=0").bounding_box()["y"]
        for part in (".number", ".chart svg", "table.rows", ".grounds")
    ]
    assert places == sorted(places)
    expect(page.locator(f"{FAILURES} .sentence")).to_have_text(
        "Second synchroniser rings are found failed most often: 88 of 260 inspected."
    )
    expect(page.locator(f"{FAILURES} .figure")).to_have_text("33.8 %")


def test_a_mark_leads_to_its_jobs_and_a_job_to_its_sheet(by_hand: str, visit: Opener) -> None:
    page = visit(f"{by_hand}/lead-technician")
    page.locator(f"{FAILURES} .chart >> nth=0").locator(".role-mark.mark-symbol path >> nth=0").click()
    heading = page.locator(f"{FAILURES} .behind h3")
    expect(heading).to_have_text("2 jobs behind: M5, 2nd synchroniser ring, synchroniser ring")
    expect(heading).to_be_focused()
    page.locator(f"{FAILURES} .behind a", has_text="J/24-17").click()
    expect(page.locator("h1")).to_have_text("Job J/24-17")
    assert page.url.endswith("/job/J%2F24-17")
    expect(page.get_by_text("Readings, trial by trial")).to_be_visible()
    expect(page.locator("[role=note]")).to_contain_text("The unit maker's service data and local rules come first")


def test_going_back_from_a_job_the_list_is_still_there(by_hand: str, visit: Opener) -> None:
    page = visit(f"{by_hand}/lead-technician")
    page.locator(f"{FAILURES} .rows tbody tr >> nth=1").click()
    page.locator(f"{FAILURES} .behind a", has_text="J/24-61").click()
    expect(page.locator("h1")).to_have_text("Job J/24-61")
    page.go_back()
    expect(page.locator("h1")).to_have_text("Lead technician")
    expect(page.locator(f"{FAILURES} .behind a", has_text="J/24-61")).to_be_visible()


def test_by_keyboard_alone_from_the_menu_to_a_job(by_hand: str, visit: Opener) -> None:
    page = visit(f"{by_hand}/lead-technician")
    page.keyboard.press("Tab")
    expect(page.get_by_text("Skip to the page")).to_be_focused()
    page.keyboard.press("Enter")
    for _ in range(150):
        page.keyboard.press("Tab")
        if page.evaluate(f"document.activeElement.closest('{FAILURES} table.rows') !== null"):
            break
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Space")
    expect(page.locator(f"{FAILURES} .behind h3")).to_be_focused()
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.locator("h1")).to_contain_text("Job J/24-")
    expect(page.locator("h1")).to_be_focused()


def test_what_is_narrowed_down_stands_in_the_address_and_comes_back_from_it(by_hand: str, visit: Opener) -> None:
    page = visit(f"{by_hand}/lead-technician")
    page.get_by_text("Narrow down").click()
    page.get_by_label("Unit family").select_option("K40")
    expect(page).to_have_url(re.compile(r"\?family=K40$"))
    expect(page.locator("#shown-for")).to_contain_text("unit family K40, as known on")
    expect(page.locator(f"{FAILURES} .hint")).to_contain_text("2 rows")
    settled(page)
    assert len(marks(page, FAILURES)) == 2
    again = visit(page.url)
    expect(again.locator(f"{FAILURES} .hint")).to_contain_text("2 rows")
    again.get_by_text("Narrow down").click()
    expect(again.get_by_label("Unit family")).to_have_value("K40")
    page.go_back()
    expect(page.locator(f"{FAILURES} .hint")).to_contain_text("6 rows")
    expect(page.get_by_label("Unit family")).to_have_value("")


def test_what_is_narrowed_down_goes_along_to_the_next_page(by_hand: str, visit: Opener) -> None:
    page = visit(f"{by_hand}/lead-technician?failure-rates.by=supplier")
    page.get_by_text("Narrow down").click()
    page.get_by_label("Unit family").select_option("K40")
    expect(page).to_have_url(re.compile(r"family=K40"))
    page.get_by_role("link", name="Parts manager", exact=True).click()
    expect(page.locator("h1")).to_have_text("Parts manager")
    expect(page).to_have_url(re.compile(r"/parts-manager\?family=K40$"))
    expect(page.locator("#shown-for")).to_contain_text("unit family K40")
    page.get_by_role("link", name="This week", exact=True).click()
    expect(page).to_have_url(re.compile(r"/$"))  # always the whole workshop's


def test_a_view_that_cannot_be_shown_is_not_taken_along(by_hand: str, visit: Opener) -> None:
    page = visit(f"{by_hand}/owner?since=2024-01-01&until=2020-01-01", settle=False)
    expect(page.locator("h1")).to_have_text("This view cannot be shown")
    page.get_by_role("link", name="Parts manager", exact=True).click()
    expect(page.locator("h1")).to_have_text("Parts manager")
    expect(page).to_have_url(re.compile(r"/parts-manager$"))


def test_an_option_of_one_section_stands_in_the_address_too(by_hand: str, visit: Opener) -> None:
    page = visit(f"{by_hand}/owner")
    page.get_by_label("What one row stands for").select_option("family")
    expect(page).to_have_url(re.compile(r"\?comebacks.by=family$"))
    expect(page.locator("#comebacks .chart >> nth=0")).to_have_attribute("aria-label", re.compile("for each group"))
    page.get_by_label("What one row stands for").select_option("all")
    expect(page).to_have_url(re.compile(r"/owner$"))


def test_a_list_belongs_to_its_view_and_goes_with_it(by_hand: str, visit: Opener) -> None:
    page = visit(f"{by_hand}/lead-technician")
    page.locator(f"{FAILURES} .rows tbody tr >> nth=0").click()
    expect(page.locator(f"{FAILURES} .behind h3")).to_be_visible()
    page.get_by_text("Narrow down").click()
    page.get_by_label("Unit family").select_option("K40")
    expect(page.locator(f"{FAILURES} .behind h3")).to_have_count(0)


def test_a_filter_that_is_not_on_record_is_said_where_the_answer_would_stand(by_hand: str, visit: Opener) -> None:
    page = visit(f"{by_hand}/parts-manager?family=K4O")
    expect(page.locator("#parts-usage .refused")).to_have_text(
        "There is no family 'K4O' on record; did you mean 'K40'?"
    )


def test_charts_of_pages_that_were_left_are_given_up(by_hand: str, visit: Opener) -> None:
    page = visit(f"{by_hand}/lead-technician")
    for title in ("Owner", "Parts manager", "Lead technician", "Owner"):
        page.get_by_role("link", name=title, exact=True).click()
        expect(page.locator("h1")).to_have_text(title)
        settled(page)
    assert page.locator(".chart svg").count() == page.locator(".chart").count() >= 3
    assert page.locator("#comebacks .chart svg").count() == page.locator("#comebacks .chart").count()
    assert page.title() == "Owner - Layshaft"


def test_a_line_of_the_first_page_leads_to_its_section(by_hand: str, visit: Opener) -> None:
    page = visit(f"{by_hand}/")
    page.get_by_role("link", name="By how much do we correct each shim location?").click()
    settled(page)
    expect(page.locator("#shim-corrections h2")).to_be_in_viewport()


def test_a_table_on_a_phone_keeps_its_first_columns_and_the_rest_comes_with_the_row(
    by_hand: str, visit: Opener
) -> None:
    page = visit(f"{by_hand}/lead-technician", PHONE)
    headings = page.locator(f"{FAILURES} .rows th:visible")
    expect(headings).to_have_text(["Family", "Position", "Found failed"])
    page.locator(f"{FAILURES} .rows tbody tr >> nth=0").click()
    expect(page.locator(f"{FAILURES} .row-facts")).to_contain_text("Inspected")
    expect(page.locator(f"{FAILURES} .row-facts")).to_contain_text("212")


def test_on_paper_every_row_and_every_fold_is_there_and_no_control(by_hand: str, visit: Opener) -> None:
    page = visit(f"{by_hand}/parts-manager", (760, 1000))  # about as wide as a sheet
    expect(page.locator("#parts-usage .rows tbody tr:visible")).to_have_count(12)
    page.get_by_role("columnheader", name="For 100 jobs").click()
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    page.emulate_media(media="print")
    rows = page.locator("#parts-usage .rows tbody tr:visible")
    expect(rows).to_have_count(15)
    expect(rows.first).to_contain_text("B-114")  # the order in which the table stands on the screen
    expect(page.locator("#parts-usage").get_by_text("What it takes for granted")).to_be_visible()
    expect(page.locator(".on-paper")).to_have_text("Shown: everything on record, as known on 9 Sep 2024")
    expect(page.locator(".on-paper")).to_be_visible()
    for gone in ("nav", ".narrow-down", ".turner"):
        expect(page.locator(gone).first).to_be_hidden()
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    page.emulate_media(media="screen")
    expect(rows).to_have_count(12)


def test_paper_says_what_was_narrowed_down(by_hand: str, visit: Opener) -> None:
    page = visit(f"{by_hand}/parts-manager?component=bearing")
    page.get_by_text("Narrow down").click()
    page.get_by_label("Unit family").select_option("K40")
    expect(page.locator(".on-paper")).to_be_hidden()
    page.emulate_media(media="print")
    expect(page.locator(".on-paper")).to_have_text("Shown: unit family K40, component bearing, as known on 9 Sep 2024")
    expect(page.locator(".on-paper")).to_be_visible()


@pytest.mark.parametrize("pathname", ["/nothing/here", "/job/", "/lead-technician/x"])
def test_an_address_without_a_page_says_so(by_hand: str, visit: Opener, pathname: str) -> None:
    page = visit(by_hand + pathname)
    expect(page.locator("h1")).to_have_text("There is no page here")
