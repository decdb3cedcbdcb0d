"""Every page for every person: axe finds no fault, headings come in order, a phone needs no sideways scrolling."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import polars as pl
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

from analytics.answer import Answer
from analytics.history import History
from tests.answers_by_hand import questions_by_hand
from tests.browser.conftest import PHONE, WIDE, Opener, served

PAGES = ["/", "/lead-technician", "/setting", "/parts-manager", "/owner", "/records", "/job/J%2F24-17", "/nothing"]


def faults(page: Page) -> list[str]:
    found = Axe().run(page).response["violations"]
    return [f"{fault['id']}: {node['html'][:200]}" for fault in found for node in fault["nodes"]]


@pytest.mark.parametrize(
    ("pathname", "size"),
    [(page, PHONE) for page in PAGES] + [("/job/J%2F24-17", WIDE), ("/nothing", WIDE)],  # the others: test_demo.py
)
def test_a_page_has_no_fault(by_hand: str, visit: Opener, pathname: str, size: tuple[int, int]) -> None:
    page = visit(by_hand + pathname, size)
    assert faults(page) == []
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    levels = page.evaluate("[...document.querySelectorAll('h1, h2, h3')].map(h => Number(h.tagName[1]))")
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))
    assert page.evaluate("document.documentElement.lang") == "en"
    assert page.locator("main").count() == 1


LONG = "Unbroken-" + "name" * 30  # what a workshop's export may call a part


def _long_failure_rates(history: History, options: Mapping[str, str]) -> Answer:
    before = questions_by_hand()["failure-rates"].ask(history, options)
    rows = before.rows.with_columns(family=pl.lit(LONG), position=pl.lit(LONG) + pl.col("position"))
    return replace(before, rows=rows, sentence=f"{LONG} is found failed most often.", number=LONG, notes=(LONG,))


@pytest.mark.parametrize("size", [WIDE, PHONE, (390, 840)], ids=["wide", "small phone", "phone"])
def test_long_names_need_no_sideways_scrolling(one_job_folder: Path, visit: Opener, size: tuple[int, int]) -> None:
    asked = questions_by_hand()
    asked["failure-rates"] = replace(asked["failure-rates"], ask=_long_failure_rates)
    with served(one_job_folder, asked) as address:
        for pathname in ("/", "/lead-technician"):
            page = visit(address + pathname, size)
            assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), pathname
        page.locator("#failure-rates .grounds summary").click()
        page.locator("#failure-rates .rows tbody tr >> nth=0").click()
        page.locator("#failure-rates .behind h3").wait_for()
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def test_open_controls_and_the_jobs_behind_have_no_fault(by_hand: str, visit: Opener) -> None:
    page = visit(f"{by_hand}/lead-technician")
    page.get_by_text("Narrow down").click()
    for fold in page.locator(".grounds summary").all():
        fold.click()
    page.locator("#failure-rates .rows tbody tr >> nth=0").click()
    page.locator("#failure-rates .behind h3").wait_for()
    assert faults(page) == []


@pytest.mark.parametrize("size", [WIDE, PHONE], ids=["wide", "phone"])
def test_without_records_the_page_has_no_fault_either(tmp_path: Path, visit: Opener, size: tuple[int, int]) -> None:
    with served(tmp_path, questions_by_hand()) as address:
        page = visit(f"{address}/", size)
        assert page.locator("h1").inner_text() == "No job records yet"
        assert page.get_by_text("layshaft template records.xlsx").is_visible()
        assert faults(page) == []
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
