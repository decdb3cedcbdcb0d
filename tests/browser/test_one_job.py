"""A workshop with one job sees sentences that say there is too little to say, and no fault."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import expect

from ingest.load import load
from tests.browser.conftest import Opener, served
from tests.one_job import load_one_job


@pytest.fixture(scope="module")
def one_job(one_job_folder: Path) -> Iterator[str]:
    with served(one_job_folder) as address:
        yield address


@pytest.mark.parametrize("pathname", ["/", "/lead-technician", "/setting", "/parts-manager", "/owner"])
def test_every_page_says_so_plainly(one_job: str, visit: Opener, pathname: str) -> None:
    page = visit(one_job + pathname)
    expect(page.locator(".refused")).to_have_count(0)
    sentences = page.locator(".sentence, .lines li p:last-child").all_inner_texts()
    assert sentences
    assert all(sentence.strip() for sentence in sentences)
    assert "%" not in " ".join(page.locator(".figure").all_inner_texts())
    assert page.locator(".chart svg").count() == page.locator(".chart").count()


def test_the_pages_move_on_when_the_next_load_is_published(tmp_path: Path, visit: Opener) -> None:
    with served(tmp_path / "records") as address:
        page = visit(f"{address}/records")
        expect(page.locator("h1")).to_have_text("No job records yet")
        load_one_job(tmp_path)
        page.get_by_role("link", name="This week").click()
        expect(page.locator("#records-line")).to_contain_text("rows read is accounted for and none is to be put right")
        later = tmp_path / "complaints later.csv"
        later.write_text("job,complaint\nJ/99-99,leak\n")
        load(tmp_path / "records", [later])
        page.get_by_role("link", name="Records").first.click()
        expect(page.locator(".headline .figure")).to_have_text("1")
        expect(page.get_by_text("its job 'J/99-99' is not on record").first).to_be_visible()
