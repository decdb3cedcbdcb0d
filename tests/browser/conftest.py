"""A real browser over served pages; a test fails on a console error, a page error or a request elsewhere."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright
from waitress import create_server

from analytics.question import Question
from dashboards.app import make_app
from tests.answers_by_hand import questions_by_hand

CHROMIUM = "/usr/bin/chromium"
SWITCHES = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip
PATIENCE_MS = 90_000  # a busy machine is slow, not wrong; how fast a page is, is measured in test_time.py
WIDE, PHONE = (1280, 900), (360, 740)
Opener = Callable[..., Page]


@contextmanager
def served(folder: Path, questions: Mapping[str, Question] | None = None) -> Iterator[str]:
    """Serve the pages of `folder` on a free port of this machine while the block runs."""
    server = create_server(make_app(folder, questions).server, host="127.0.0.1", port=0, threads=8)
    closing = threading.Event()

    def run() -> None:
        try:
            server.run()
        except OSError:  # it waits at the socket that is closed below
            if not closing.is_set():
                raise

    threading.Thread(target=run, daemon=True).start()
    yield f"http://127.0.0.1:{server.effective_port}"
    closing.set()
    server.task_dispatcher.shutdown()
    server.close()


@pytest.fixture(scope="session")
def by_hand(one_job_folder: Path) -> Iterator[str]:
    """Serve answers written by hand, so that what a page shows is known to the letter."""
    with served(one_job_folder, questions_by_hand()) as address:
        yield address


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    expect.set_options(timeout=PATIENCE_MS)
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=CHROMIUM, args=SWITCHES)
        yield opened
        opened.close()


@pytest.fixture
def visit(browser: Browser) -> Iterator[Opener]:
    """Open addresses in a fresh window, wide unless said otherwise, and watch what the browser complains of."""
    faults: list[str] = []
    contexts = []

    def open_page(address: str, size: tuple[int, int] = WIDE, settle: bool = True) -> Page:
        context = browser.new_context(viewport={"width": size[0], "height": size[1]}, reduced_motion="reduce")
        context.set_default_timeout(PATIENCE_MS)
        contexts.append(context)
        page = context.new_page()
        host = "/".join(address.split("/")[:3])
        page.on("console", lambda m: faults.append(f"console: {m.text}") if m.type == "error" else None)
        page.on("pageerror", lambda fault: faults.append(f"page: {fault}"))
        page.on(
            "request",
            lambda r: (
                None
                if r.url.startswith((f"{host}/", "data:", "blob:"))
                else faults.append(f"request elsewhere: {r.url}")
            ),
        )
        page.on("response", lambda r: faults.append(f"{r.status} at {r.url}") if r.status >= 400 else None)
        page.goto(address)
        if settle:
            settled(page)
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert faults == []


def settled(page: Page) -> None:
    """Wait until the page is answered and every section of it is filled, near the screen or not."""
    usable(page)
    expect(page.locator(".section[data-section]:not([data-whole])")).to_have_count(0)
    expect(page.locator(".chart:not([data-drawn])")).to_have_count(0)


# The page is answered, its places are filled, and what is near the screen is drawn. Asked at every frame: a question
# repeated at growing intervals would add up to a second to what is measured.
_USABLE = """() => {
  const none = (selector) => document.querySelector(selector) === null;
  const heading = document.querySelector("#page h1");
  return heading !== null && heading.getClientRects().length > 0 && none(".waiting, .section[aria-busy], .place:empty")
    && none(".section[data-section]:not([data-near])") && none(".section[data-near=yes]:not([data-whole])");
}"""


def usable(page: Page) -> None:
    """Wait until the page is answered and what is near the screen is filled: charts drawn, tables with their rows."""
    page.wait_for_function(_USABLE, timeout=PATIENCE_MS)
