"""What was chosen stays what it was: in a second tab, after a load, on the way back from a job, on other pages."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from dashboards.acknowledgements import Acknowledgements
from tests.browser.conftest import Opener, served, settled
from tests.watched_alarms import RING, SLIDER, WORDS, Alarms

WATCH, PARTS, FAILURES = "#watch", "#parts-usage", "#failure-rates"
CHOSEN = ".rows tr[aria-selected=true]"


@pytest.fixture
def address(one_job_copy: Path, alarms: Alarms) -> Iterator[str]:
    with served(one_job_copy, alarms.questions()) as told:
        yield told


def choose(page: Page, section: str, words: str) -> None:
    page.locator(f"{section} .rows tbody tr", has_text=words).click()
    expect(page.locator(f"{section} .behind h3")).to_contain_text(words)


def test_a_second_tab_acknowledges_the_alarm_it_shows_or_none(address: str, one_job_copy: Path, visit: Opener) -> None:
    first, second = visit(f"{address}/lead-technician"), visit(f"{address}/lead-technician")
    choose(second, WATCH, WORDS[RING])
    choose(first, WATCH, WORDS[RING])
    first.get_by_label("What was done about it").fill("new rings")
    first.keyboard.press("Enter")  # does as the button
    expect(first.locator(f"{WATCH} .behind")).to_have_text("Acknowledged.")
    second.get_by_label("What was done about it").fill("from the second tab")
    second.get_by_role("button", name="Acknowledge this alarm").click()
    expect(second.locator(f"{WATCH} .behind .refused")).to_contain_text("acknowledged already")
    expect(second.locator(f"{WATCH} .rows tbody tr").last).to_contain_text(WORDS[RING])  # the list as it is now
    assert [(one.chart, one.note) for one in Acknowledgements(one_job_copy).every()] == [(RING, "new rings")]
    choose(second, WATCH, WORDS[SLIDER])
    second.get_by_label("What was done about it").fill("sliders renewed")
    second.get_by_role("button", name="Acknowledge this alarm").click()
    expect(second.locator(f"{WATCH} .behind")).to_have_text("Acknowledged.")
    assert [one.chart for one in Acknowledgements(one_job_copy).every()] == [SLIDER, RING]


def test_after_a_load_an_open_page_shows_the_row_that_was_chosen_among_the_new_ones(
    address: str, one_job_copy: Path, alarms: Alarms, visit: Opener
) -> None:
    page = visit(f"{address}/lead-technician")
    rows = page.locator(f"{WATCH} .rows tbody tr")
    expect(rows).to_have_count(3)
    del alarms.raised[RING]
    shutil.copy(one_job_copy / "warehouse-000001.duckdb", one_job_copy / "warehouse-000002.duckdb")
    (one_job_copy / "CURRENT").write_text("2")
    choose(page, WATCH, WORDS[SLIDER])
    expect(rows).to_have_count(2)
    expect(page.locator(f"{WATCH} {CHOSEN}")).to_contain_text(WORDS[SLIDER])
    page = visit(f"{address}/lead-technician")
    del alarms.raised[SLIDER]
    shutil.copy(one_job_copy / "warehouse-000001.duckdb", one_job_copy / "warehouse-000003.duckdb")
    (one_job_copy / "CURRENT").write_text("3")
    page.locator(f"{WATCH} .rows tbody tr", has_text=WORDS[SLIDER]).click()
    expect(page.locator(f"{WATCH} .behind .refused")).to_contain_text("The records changed since this page was shown")
    expect(page.locator(f"{WATCH} .rows tbody tr")).to_have_count(1)
    expect(page.locator(f"{WATCH} {CHOSEN}")).to_have_count(0)


def test_back_from_a_job_the_page_stands_where_it_was_left_and_the_row_is_marked(by_hand: str, visit: Opener) -> None:
    page = visit(f"{by_hand}/lead-technician")
    choose(page, FAILURES, "2nd synchroniser ring")
    link = page.locator(f"{FAILURES} .behind a", has_text="J/24-61")
    link.scroll_into_view_if_needed()
    before = page.evaluate("window.scrollY")
    assert before > 1_000
    link.click()
    expect(page.locator("h1")).to_have_text("Job J/24-61")
    assert page.evaluate("window.scrollY") == 0
    page.go_back()
    expect(page.locator("h1")).to_have_text("Lead technician")
    expect(page.locator(f"{FAILURES} {CHOSEN}")).to_contain_text("2nd synchroniser ring")
    expect(link).to_be_in_viewport()
    settled(page)
    assert abs(page.evaluate("window.scrollY") - before) < 50
    page.reload()
    settled(page)
    expect(link).to_be_in_viewport()
    page.get_by_role("link", name="Owner", exact=True).click()
    expect(page.locator("h1")).to_have_text("Owner")
    assert page.evaluate("window.scrollY") == 0
    page.get_by_role("link", name="Lead technician", exact=True).click()
    settled(page)
    page.evaluate("window.scrollTo(0, 2000)")
    page.go_back()
    expect(page.locator("h1")).to_have_text("Owner")
    settled(page)
    assert page.evaluate("window.scrollY") == 0  # it was left at its top


def stop(page: Page) -> str:
    """Return the words of what the tabulator reaches in the table, which has to be seen."""
    reached = page.locator(f"{PARTS} .rows [tabindex='0']")
    expect(reached).to_have_count(1)
    expect(reached).to_be_visible()
    return reached.inner_text()


def test_the_tabulator_reaches_a_row_that_is_shown_whatever_was_turned_or_sorted(by_hand: str, visit: Opener) -> None:
    page = visit(f"{by_hand}/parts-manager")
    part = page.locator(PARTS)
    assert "B-100" in stop(page)
    part.get_by_role("button", name="Rows after").click()
    assert "B-112" in stop(page)
    expect(part.get_by_role("button", name="Rows before")).to_be_focused()  # the other can no longer be pressed
    choose(page, PARTS, "B-113")
    assert "B-113" in stop(page)
    heading = part.get_by_role("columnheader", name="For 100 jobs")
    heading.click()  # upwards: B-114 is the first, B-113 the second
    expect(part.locator(".turner")).to_contain_text("Rows 1 to 12 of 15")
    assert "B-113" in stop(page)
    heading.click()  # downwards: it stands on the second page
    expect(part.locator(".turner")).to_contain_text("Rows 13 to 15 of 15")
    expect(page.locator(f"{PARTS} {CHOSEN}")).to_be_visible()
    assert "B-113" in stop(page)
    part.get_by_role("button", name="Rows before").click()
    assert "B-100" in stop(page)
    expect(part.get_by_role("button", name="Rows after")).to_be_focused()


def test_a_mark_of_a_chart_marks_its_row_in_the_table(by_hand: str, visit: Opener) -> None:
    page = visit(f"{by_hand}/lead-technician")
    page.locator(f"{FAILURES} .chart >> nth=0").locator(".role-mark.mark-symbol path >> nth=0").click()
    heading = page.locator(f"{FAILURES} .behind h3")
    expect(heading).to_be_focused()
    named = heading.inner_text().split("behind: ")[1].split(", ")[1]
    expect(page.locator(f"{FAILURES} {CHOSEN}")).to_contain_text(named)
