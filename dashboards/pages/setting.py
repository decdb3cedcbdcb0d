"""Declare the page of setting: shims, readings and gauges."""

from __future__ import annotations

from dashboards.charts.first_try_shims import first_try_packs
from dashboards.charts.gauge_check import gauge_on_its_master
from dashboards.charts.how_close_we_set import first_trials_in_order, first_trials_out
from dashboards.charts.response import response_against_geometry
from dashboards.charts.shim_corrections import shim_corrections_by_location
from dashboards.page import Page, Section

SETTING = Page(
    address="/setting",
    title="Setting",
    lead="Which shims to start from, whether the gauges can be trusted, and where packs end up.",
    cautions=True,
    sections=(
        Section(
            question="first-try-shims",
            heading="Which shims to try first on this unit?",
            charts=(first_try_packs,),
            table=(
                "location",
                "pack_um",
                "said",
                "found_um",
                "pieces",
                "next_um",
                "target",
                "first_ours",
                "first_done",
                "worst_ours",
            ),
            narrow=("location", "pack_um", "pieces"),
            on_start=False,
            of_one_unit=True,
        ),
        Section(
            question="gauge-check",
            heading="Has a gauge gone off?",
            charts=(gauge_on_its_master,),
            table=("instrument", "quantity", "verdict", "off_um", "since", "found_on", "jobs_since", "pattern_sense"),
            narrow=("instrument", "verdict", "jobs_since"),
        ),
        Section(
            question="shim-corrections",
            heading="By how much do we correct each shim location?",
            charts=(shim_corrections_by_location,),
            narrow=("family", "location", "mean_um"),
        ),
        Section(
            question="how-close-we-set",
            heading="How close do we set at the first try?",
            charts=(first_trials_out, first_trials_in_order),
            table=("quantity", "group", "share_out", "jobs", "ppk", "cpk", "built_ppk"),
            narrow=("quantity", "group", "share_out"),
        ),
        Section(
            question="response",
            heading="How far does a reading move with its pack?",
            charts=(response_against_geometry,),
            table=("family", "location", "make", "bearing", "moves", "theory", "verdict", "jobs"),
            narrow=("family", "location", "moves"),
        ),
    ),
)
