"""The demo's pages in a real browser: the four answers, their marks, their jobs, and how long it takes."""

from __future__ import annotations

import datetime as dt
import shlex
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from analytics.history import History
from analytics.questions import every_question
from analytics.warehouse_file import open_warehouse
from dashboards.address import read_view
from dashboards.command import main
from dashboards.every_page import PAGES as EVERY_PAGE
from tests.browser.conftest import PHONE, Opener, served

PAGES = {"/": 0, **{page.address: len(page.sections) for page in EVERY_PAGE}, "/records": 0}  # charts at least


@pytest.fixture(scope="module")
def demo(demo_warehouse_folder: Path) -> Iterator[str]:
    with served(demo_warehouse_folder) as address:
        yield address


@pytest.mark.parametrize("pathname", PAGES)
def test_a_page_of_the_demo_is_answered_without_a_fault(demo: str, visit: Opener, pathname: str) -> None:
    page = visit(demo + pathname)
    assert page.locator(".chart svg").count() >= PAGES[pathname]
    expect(page.locator(".refused")).to_have_count(0)
    expect(page.locator(".sentence", has_text="Too few to say")).to_have_count(0)
    found = Axe().run(page).response["violations"]
    assert [fault["id"] for fault in found] == []
    page.set_viewport_size({"width": PHONE[0], "height": PHONE[1]})
    page.wait_for_timeout(200)
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


@pytest.mark.parametrize(
    ("pathname", "section", "chart"),
    [
        ("/lead-technician", "failure-rates", 0),
        ("/setting", "shim-corrections", 0),
        ("/parts-manager", "parts-usage", 0),
        ("/owner", "comebacks", 0),
    ],
)
def test_a_mark_leads_to_jobs_and_a_job_to_its_whole_sheet(
    demo: str, visit: Opener, pathname: str, section: str, chart: int
) -> None:
    page = visit(demo + pathname)
    page.locator(f"#{section} .chart >> nth={chart}").locator(".role-mark.mark-symbol path >> nth=-1").click()
    behind = page.locator(f"#{section} .behind")
    expect(behind.locator("h3")).to_be_focused()
    link = behind.locator("a.job >> nth=0")
    job = link.inner_text()
    link.click()
    expect(page.locator("h1")).to_have_text(f"Job {job}")
    expect(page.get_by_role("heading", name="What we found inside")).to_be_visible()


def test_the_number_on_the_page_is_the_number_of_the_question(
    demo: str, visit: Opener, demo_warehouse_folder: Path
) -> None:

    view = read_view("?family=T5 compact&as_of=2024-06-30")
    warehouse = open_warehouse(demo_warehouse_folder)
    question = every_question()["failure-rates"]
    answer = question.ask(History(warehouse, dt.date(2024, 6, 30), view.scope), question.chosen({}))
    warehouse.close()
    page = visit(f"{demo}/lead-technician?family=T5%20compact&as_of=2024-06-30")
    expect(page.locator("#failure-rates .sentence")).to_have_text(answer.sentence)
    expect(page.locator("#failure-rates .figure")).to_have_text(answer.number)


def test_the_command_that_a_page_names_gives_the_same_answer(
    demo: str, visit: Opener, demo_warehouse_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page = visit(f"{demo}/owner?family=T5%20compact&as_of=2024-06-30&comebacks.by=duty")
    page.locator("#comebacks .grounds summary").click()
    words = shlex.split(page.locator("#comebacks .grounds code").inner_text())
    assert words[:2] == ["layshaft", "show"]
    main([*words[1:], "--warehouse", str(demo_warehouse_folder)])
    said = " ".join(page.locator("#comebacks .sentence").inner_text().split())
    assert said in " ".join(capsys.readouterr().out.split())
