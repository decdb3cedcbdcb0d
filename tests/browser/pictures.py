"""Make the README's picture of each page from the demo: python -m tests.browser.pictures FOLDER_OF_THE_DEMO."""

from __future__ import annotations

import sys
from pathlib import Path

from playwright.sync_api import sync_playwright

from dashboards.every_page import PAGES
from tests.browser.conftest import CHROMIUM, SWITCHES, served

OUT = Path(__file__).parents[2] / "dashboards" / "pictures"
WIDTH, HEIGHT = 1100, 1250


def main(folder: Path, out: Path = OUT) -> None:
    """Write one picture a page, named by its address."""
    out.mkdir(exist_ok=True)
    addresses = ["/", *(page.address for page in PAGES), "/records"]
    with served(folder) as base, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=SWITCHES)
        page = browser.new_page(viewport={"width": WIDTH, "height": HEIGHT})
        for address in addresses:
            page.goto(base + address)
            page.wait_for_load_state("networkidle")
            page.wait_for_function("document.querySelectorAll('.waiting').length === 0", timeout=60_000)
            page.wait_for_timeout(1500)
            page.screenshot(path=out / f"{address.strip('/') or 'start'}.png")
        browser.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
