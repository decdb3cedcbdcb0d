"""List every page of decisions, in the order of the menu."""

from __future__ import annotations

from dashboards.page import Page
from dashboards.pages.lead_technician import LEAD_TECHNICIAN
from dashboards.pages.owner import OWNER
from dashboards.pages.parts_manager import PARTS_MANAGER
from dashboards.pages.setting import SETTING

PAGES: tuple[Page, ...] = (LEAD_TECHNICIAN, SETTING, PARTS_MANAGER, OWNER)


def page_at(pathname: str) -> Page | None:
    """Return the page of decisions at an address, or None."""
    return next((page for page in PAGES if page.address == pathname.rstrip("/")), None)
