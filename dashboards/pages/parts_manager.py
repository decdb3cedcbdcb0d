"""Declare the parts manager's page."""

from __future__ import annotations

from dashboards.charts.due_for_rebuild import due_for_rebuild_by_fleet, due_for_rebuild_looking_back
from dashboards.charts.parts_usage import parts_usage_by_month, parts_usage_change
from dashboards.charts.shim_demand import shims_per_hundred_jobs
from dashboards.page import Page, Section

PARTS_MANAGER = Page(
    address="/parts-manager",
    title="Parts manager",
    lead="What goes over the counter, and what is going faster than it did.",
    sections=(
        Section(
            question="parts-usage",
            heading="Which parts do we use, and is the use rising?",
            charts=(parts_usage_change, parts_usage_by_month),
            narrow=("part", "description", "used_last_12_months"),
        ),
        Section(
            question="shim-demand",
            heading="Which shims do we use up, and which thicknesses to keep?",
            charts=(shims_per_hundred_jobs,),
            table=("family", "location", "thickness_um", "per_100_jobs", "keep", "on_hand"),
            narrow=("location", "thickness_um", "per_100_jobs"),
        ),
        Section(
            question="due-for-rebuild",
            heading="Which units of our fleets come in next, and how many?",
            charts=(due_for_rebuild_by_fleet, due_for_rebuild_looking_back),
            table=("fleet", "unit", "expected", "units", "last_year", "chance", "run", "what"),
            narrow=("fleet", "unit", "expected", "chance"),
        ),
    ),
)
