"""Declare the owner's page."""

from __future__ import annotations

from dashboards.charts.comebacks import (
    comebacks_by_distance,
    comebacks_by_group,
    comebacks_by_months,
    comebacks_under_other_rules,
)
from dashboards.charts.visits_per_unit import visits_per_unit_by_group, visits_per_unit_by_months
from dashboards.charts.warranty_cost import warranty_cost_by_kind, warranty_cost_by_months
from dashboards.page import Page, Section

OWNER = Page(
    address="/owner",
    title="Owner",
    lead="What a delivered job still costs us, and what that means for the price.",
    sections=(
        Section(
            question="comebacks",
            heading="How many of the jobs we deliver come back?",
            charts=(comebacks_by_group, comebacks_by_months, comebacks_by_distance, comebacks_under_other_rules),
            narrow=("group", "ours", "months", "share"),
        ),
        Section(
            question="visits-per-unit",
            heading="How often does a unit come again?",
            charts=(visits_per_unit_by_months, visits_per_unit_by_group),
            table=("group", "months", "visits", "at_risk", "units", "counted", "trend_p"),
            narrow=("group", "months", "visits"),
        ),
        Section(
            question="warranty-cost",
            heading="What does a warranty cost us?",
            charts=(warranty_cost_by_kind, warranty_cost_by_months),
            table=("kind", "cost", "said", "comebacks", "cost_each", "beyond", "events", "jobs"),
            narrow=("kind", "cost"),
        ),
    ),
)
