"""Declare the lead technician's page."""

from __future__ import annotations

from dashboards.charts.failure_rates import failure_rates_by_position, failure_rates_by_year
from dashboards.charts.shim_corrections import shim_corrections_by_location
from dashboards.page import Page, Section

LEAD_TECHNICIAN = Page(
    address="/lead-technician",
    title="Lead technician",
    lead="What to look at first on the bench, and where packs end up.",
    cautions=True,
    sections=(
        Section(
            question="failure-rates",
            heading="What do we find failed, and how often?",
            charts=(failure_rates_by_position, failure_rates_by_year),
            table=(
                "family",
                "position",
                "component",
                "group",
                "rate",
                "failed",
                "inspected",
                "trend_per_year",
                "per_100000_km",
            ),
            narrow=("family", "position", "group", "rate"),
        ),
        Section(
            question="shim-corrections",
            heading="By how much do we correct each shim location?",
            charts=(shim_corrections_by_location,),
            narrow=("family", "location", "mean_um"),
        ),
    ),
)
