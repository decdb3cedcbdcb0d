"""List every page of decisions, in the order of the menu."""

from __future__ import annotations

from dashboards.page import Page, Section
from dashboards.pages.lead_technician import LEAD_TECHNICIAN
from dashboards.pages.owner import OWNER
from dashboards.pages.parts_manager import PARTS_MANAGER
from dashboards.pages.setting import SETTING

PAGES: tuple[Page, ...] = (LEAD_TECHNICIAN, SETTING, PARTS_MANAGER, OWNER)
NO_SECTION = "there is no such section on our pages"


def page_at(pathname: str) -> Page | None:
    """Return the page of decisions at an address, or None."""
    return next((page for page in PAGES if page.address == pathname.rstrip("/")), None)


def section_at(place: str) -> tuple[Page, Section] | None:
    """Return the page and section at a place such as '/owner#comebacks', or None."""
    address, _, mark = place.partition("#")
    page = page_at(address)
    found = [section for section in page.sections if section.mark == mark] if page else []
    return (page, found[0]) if page and found else None
