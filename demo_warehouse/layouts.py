"""Name the headings and words that the invented workshop used over the years: three ways of keeping the job book."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from demo_warehouse.pages import Column

JOB_FIELDS = (
    "job", "unit", "kind", "opened", "torn_down", "closed", "delivered", "scope", "declined", "odometer",
    "unit_distance", "hours", "usage_basis", "duty", "complaint_since", "odometer_since", "oil_brass",
    "oil_steel", "oil_changed_recently", "earlier_work", "arrival", "refitted_by", "gear_set_found",
    "gear_set_built", "case_replaced", "quoted", "invoiced", "warranty_months", "warranty_distance",
    "technician", "customer", "fleet", "entered",
)  # fmt: skip
_JOB_OLD = (
    "Job No.", "Tag", "What", "In", "Stripped", "Done", "Out", "Agreed", "Not wanted", "Miles", "Box miles",
    "Hours run", "Clock", "Use", "Trouble since", "Miles then", "Brass seen", "Steel seen", "Fresh oil",
    "Opened before", "Came", "Refit by", "Set in", "Set out", "New case", "Quote", "Bill", "Months", "Cover km",
    "Man", "Customer", "Fleet", "Booked in",
)  # fmt: skip
_JOB_MIDDLE = (
    "Job", "Unit tag", "Kind of work", "Opened", "Taken apart", "Finished", "Handed over", "Scope",
    "Declined by customer", "km", "km of unit", "Hour meter h", "km known how", "Duty", "Complains since",
    "km when it began", "Brass in oil", "Steel in oil", "Oil changed?", "Earlier hands", "Arrived", "Refitted",
    "Gear set found", "Gear set fitted", "Casing changed?", "Quoted net", "Invoiced net", "Warranty months",
    "Warranty km", "Technician", "Name of customer", "Fleet", "Entered",
)  # fmt: skip
_JOB_NEW = (
    "job", "unit", "kind", "opened", "torn_down", "closed", "delivered", "scope", "declined", "odometer (km)",
    "unit_distance (km)", "hours (h)", "usage_basis", "duty", "complaint_since", "odometer_since (km)",
    "oil_brass", "oil_steel", "oil_changed_recently", "earlier_work", "arrival", "refitted_by",
    "gear_set_found", "gear_set_built", "case_replaced", "quoted (money)", "invoiced (money)",
    "warranty_months", "warranty_distance (km)", "technician", "customer", "fleet", "entered",
)  # fmt: skip
_OLD_WORDS: dict[str, dict[str, str]] = {
    "kind": {
        "full_rebuild": "big job",
        "part_rebuild": "small job",
        "setup_only": "setting",
        "reseal": "seals",
        "inspection": "look see",
    },
    "duty": {"tow": "Anh.", "off_road": "yard", "delivery": "rounds", "highway": "long runs", "competition": "sprint"},
    "usage_basis": {"estimated": "guess", "unknown": "?", "clock_replaced": "new clock"},
    "oil_changed_recently": {"yes": "x", "no": "-"},
    "case_replaced": {"yes": "x", "no": "-"},
}
_MIDDLE_WORDS: dict[str, dict[str, str]] = {
    "kind": {
        "full_rebuild": "Full rebuild",
        "part_rebuild": "Part rebuild",
        "setup_only": "Setting only",
        "reseal": "Re-seal",
        "inspection": "Inspection",
    },
    "refitted_by": {"us": "ourselves", "fleet": "fleet fitters", "other_workshop": "other garage", "owner": "himself"},
    "arrival": {"in_vehicle": "in the vehicle", "loose": "bare unit"},
}
MAPPED_WORDS: dict[str, frozenset[str]] = {
    "kind": frozenset({"big job", "small job", "setting", "seals", "look see"}),
    "duty": frozenset({"Anh.", "yard", "rounds", "long runs", "sprint"}),
    "usage_basis": frozenset({"guess"}),
}


@dataclass(frozen=True)
class Era:
    """Hold how the job book was kept in some years."""

    years: tuple[int, ...]
    title: tuple[str, ...]
    dates: str
    distance: str
    job_headings: tuple[str, ...]
    job_words: Mapping[str, Mapping[str, str]]
    file_pattern: str
    unit_columns: tuple[Column, ...]
    findings_list_only_bad: tuple[int, ...]
    wide_shims: tuple[int, ...]


_UNIT_OLD = (
    Column("Type", "family"),
    Column("Ser. No.", "serial_number"),
    Column("First used", "in_service_since"),
    Column("From new", "lives_known_from_new"),
)
_UNIT_MIDDLE = (
    Column("New here: family", "family"),
    Column("New here: serial", "serial_number"),
    Column("New here: in service since", "in_service_since"),
    Column("New here: never opened", "lives_known_from_new"),
)
ERAS = (
    Era(
        (2016, 2017, 2018),
        ("WORKSHOP BOOK", ""),
        "cell",
        "mi",
        _JOB_OLD,
        _OLD_WORDS,
        "jobs_201[678].xlsx",
        _UNIT_OLD,
        (),
        (2016, 2017),
    ),
    Era(
        (2019, 2020, 2021, 2022),
        (),
        "/",
        "km",
        _JOB_MIDDLE,
        _MIDDLE_WORDS,
        "jobs_20[12][9012].xlsx",
        _UNIT_MIDDLE,
        (2019, 2020),
        (),
    ),
    Era(
        (2023, 2024, 2025, 2026),
        ("Job book", "one line a job; ask the office before you add a column", "", ""),
        "cell",
        "km",
        _JOB_NEW,
        {},
        "jobs_202[3456].xlsx",
        _UNIT_MIDDLE,
        (),
        (),
    ),
)


def era_of(year: int) -> Era:
    """Return how the job book was kept in a year; years outside the known ones are kept as the nearest ones were."""
    return next((era for era in ERAS if year in era.years), ERAS[0] if year < ERAS[0].years[0] else ERAS[-1])


def job_columns(era: Era) -> list[Column]:
    """Return the columns of the job sheet in an era."""
    columns = []
    for name, heading in zip(JOB_FIELDS, era.job_headings, strict=True):
        distance = name in ("odometer", "unit_distance", "odometer_since")
        unit = era.distance if distance else "km" if name == "warranty_distance" else "h" if name == "hours" else None
        columns.append(Column(heading, name, unit, dict(era.job_words.get(name, {}))))
    return columns


FINDING_HEADINGS = {
    "old": {
        "job": "Job No.",
        "position": "Where",
        "grade": "Grade 0-4",
        "ring_gap": "Gap mm",
        "end_float": "Float mm",
        "damage_mode": "Damage",
        "role": "Meaning",
        "action": "Done with it",
        "entered": "Booked",
    },
    "new": {
        "job": "job",
        "position": "position",
        "grade": "grade",
        "ring_gap": "ring_gap (mm)",
        "end_float": "end_float (mm)",
        "damage_mode": "damage_mode",
        "role": "role",
        "action": "action",
        "entered": "entered",
    },
}
READING_HEADINGS = {
    "old": {
        "job": "Job No.",
        "quantity": "What was read",
        "location": "Where",
        "stage": "When",
        "trial": "Try",
        "point": "Point",
        "value": "Reading",
        "target": "Wanted",
        "lower": "From",
        "upper": "To",
        "unit_written": "Unit",
        "instrument": "Gauge",
        "technician": "Man",
        "read_on": "Day",
        "torque_kind": "Torque",
        "seals": "Seals",
        "oiled": "Oiled?",
        "cold": "Cold?",
        "bearing_state": "Bearing used",
        "bearing_maker": "Bearing make",
        "bearing_condition": "Bearing new or used",
    },
}
SHIM_HEADINGS = {
    "old": {
        "job": "Job No.",
        "location": "Where",
        "stage": "When",
        "trial": "Try",
        "thickness": "Thickness",
        "pieces": "Pieces",
        "thickness_basis": "Nominal or measured",
        "part": "Shim part",
    },
}


def named_columns(headings: Mapping[str, str], units: Mapping[str, str] | None = None) -> list[Column]:
    """Return columns for a table of field -> heading, with units where they are given."""
    units = units or {}
    return [Column(heading, name, units.get(name)) for name, heading in headings.items()]
