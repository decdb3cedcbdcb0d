"""Write the workshop's records as the messy files that a workshop has, with planted defects and a mapping."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from demo_warehouse.defects import Planter
from demo_warehouse.defects_kept import plant_kept
from demo_warehouse.defects_refused import plant_refused
from demo_warehouse.expected import expected_counts
from demo_warehouse.job_books import job_book_pages
from demo_warehouse.mapping_text import mapping_text
from demo_warehouse.office_files import office_pages
from demo_warehouse.page_files import write_pages
from demo_warehouse.simulation import Workshop

MAPPING_FILE = "mapping.toml"
FEWEST_YEARS = 8
FEWEST_JOBS = 800


def write_messy_files(workshop: Workshop, out: Path) -> tuple[dict[str, int], dict[str, Any]]:
    """Write the files and their mapping; return rows by file name, and the planted defects as plain tables.

    Defects need years and jobs enough to stand in; a scenario of fewer than 8 years or 800 jobs gets its files
    without them.
    """
    pages = job_book_pages(workshop.records) + office_pages(workshop.records, workshop.scenario)
    rng = np.random.Generator(np.random.PCG64([workshop.seed, 20]))
    planter = Planter(pages, workshop.records, workshop.scenario.end, rng)
    first, last = workshop.scenario.start.year, workshop.scenario.end.year
    if last - first >= FEWEST_YEARS and workshop.records["job"].height >= FEWEST_JOBS:
        plant_refused(planter, first, last)
        plant_kept(planter, first, last)
    text = mapping_text(pages)
    files = write_pages(pages, out)
    (out / MAPPING_FILE).write_text(text, encoding="utf-8")
    truth = {
        "planted": [defect.plain() for defect in planter.defects],
        "expected": expected_counts(pages, planter.defects),
    }
    return files, truth
