"""Declare the lead technician's page."""

from __future__ import annotations

from dashboards.charts.compare import compare_funnel, compare_groups
from dashboards.charts.component_life import component_life_by_row, component_life_curve, component_life_paper
from dashboards.charts.failure_rates import failure_rates_by_position, failure_rates_by_year
from dashboards.charts.goes_before_comebacks import goes_before_comebacks_by_mark
from dashboards.charts.watch import watch_alarms, watch_power
from dashboards.charts.what_to_expect import what_to_expect_by_position, what_to_expect_came_true, what_to_expect_parts
from dashboards.charts.which_lasts_longer import which_lasts_longer_by_group
from dashboards.page import Page, Section

LEAD_TECHNICIAN = Page(
    address="/lead-technician",
    title="Lead technician",
    lead="What has become worse, what to expect inside, and how long things last.",
    sections=(
        Section(
            question="watch",
            heading="Has something become worse?",
            charts=(watch_alarms, watch_power),
            table=("what", "since", "raised", "ratio", "seen", "still_out", "in_warranty", "on_shelf", "claim"),
            narrow=("what", "since", "ratio"),
            known_by=("chart", "raised"),
        ),
        Section(
            question="what-to-expect",
            heading="What will we find inside, and what should be on the shelf?",
            charts=(what_to_expect_by_position, what_to_expect_parts, what_to_expect_came_true),
            table=("position", "probability", "plain", "clues", "failed", "inspected"),
            narrow=("position", "probability"),
            on_start=False,
            of_one_unit=True,
        ),
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
            question="component-life",
            heading="By which distance is each component worn?",
            charts=(component_life_by_row, component_life_curve, component_life_paper),
            table=("family", "position", "component", "group", "population", "b10", "median", "said", "worn", "lives"),
            narrow=("family", "position", "group", "b10"),
        ),
        Section(
            question="which-lasts-longer",
            heading="Whose parts last longer, and in which duty?",
            charts=(which_lasts_longer_by_group,),
            table=("component", "group", "others", "population", "ratio", "said", "p_adjusted", "worn", "other_worn"),
            narrow=("component", "group", "ratio"),
        ),
        Section(
            question="goes-before-comebacks",
            heading="What goes before comebacks?",
            charts=(goes_before_comebacks_by_mark,),
            table=(
                "kind",
                "mark",
                "odds_ratio",
                "said",
                "back_with",
                "jobs_with",
                "back_without",
                "jobs_without",
                "stands_out",
            ),
            narrow=("mark", "odds_ratio"),
        ),
        Section(
            question="compare",
            heading="Who or what has more comebacks than others with the same work?",
            charts=(compare_groups, compare_funnel),
            table=(
                "group",
                "component",
                "ratio",
                "said",
                "shrunk",
                "observed",
                "expected",
                "stands_out",
                "jobs_needed",
            ),
            narrow=("group", "ratio"),
        ),
    ),
)
