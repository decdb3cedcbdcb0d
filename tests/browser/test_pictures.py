"""Make the README's picture of each page from the demo: pytest -m bench tests/browser/test_pictures.py."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from dashboards.every_page import PAGES
from tests.browser.conftest import PATIENCE_MS, served, settled

ROOT = Path(__file__).parents[2]
OUT = ROOT / "dashboards" / "pictures"
SIZE = {"width": 1100, "height": 1150}


def names() -> dict[str, str]:
    """Return the file name of each page's picture by its address."""
    return {a: f"{a.strip('/') or 'start'}.png" for a in ("/", *(page.address for page in PAGES), "/records")}


def test_the_readme_shows_a_picture_of_each_page() -> None:
    shown = set(re.findall(r"\(dashboards/pictures/([^)]+)\)", (ROOT / "README.md").read_text()))
    assert shown == set(names().values())
    assert all((OUT / name).stat().st_size > 10_000 for name in shown)


@pytest.mark.bench
def test_make_the_pictures(demo_warehouse_folder: Path, browser: Browser) -> None:
    OUT.mkdir(exist_ok=True)
    with served(demo_warehouse_folder) as base:
        page = browser.new_page(viewport=SIZE)
        page.set_default_timeout(PATIENCE_MS)
        for address, name in names().items():
            page.goto(base + address)
            settled(page)
            page.wait_for_timeout(500)
            page.screenshot(path=OUT / name)
        page.close()
