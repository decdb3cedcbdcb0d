"""Declare the records of a job: the visit, its complaint, what was found, and what came back."""

from __future__ import annotations

from ingest.record_model import Field, Kind, RecordType
from ingest.records_of_units import ENTERED
from ingest.units_of_measure import DISTANCE, DURATION, LENGTH, MONEY

JOB_TAKEN_APART = "coalesce(j.torn_down, j.closed, j.delivered, j.opened)"
JOB_PUT_TOGETHER = "coalesce(j.closed, j.delivered, j.torn_down, j.opened)"
JOB = Field("job", Kind.TEXT, "job number", required=True, references="job.job")

THE_JOB = RecordType(
    name="job",
    about="a visit of a unit to the bench",
    grain="one row per job number",
    key=("job",),
    known_on="r.opened",
    settled_on="coalesce(r.closed, r.delivered, r.torn_down, r.opened)",
    in_order=(
        ("opened", "torn_down"),
        ("opened", "closed"),
        ("opened", "delivered"),
        ("torn_down", "closed"),
        ("closed", "delivered"),
    ),
    entered="entered",
    fields=(
        Field("job", Kind.TEXT, "job number", required=True),
        Field("unit", Kind.TEXT, "unit", required=True, references="unit.unit"),
        Field("kind", Kind.WORD, "kind of job", required=True, vocabulary="job_kind"),
        Field("opened", Kind.DATE, "day the job was opened", required=True),
        Field("torn_down", Kind.DATE, "day of the teardown", known="torn_down"),
        Field("closed", Kind.DATE, "day the work was finished", known="closed"),
        Field("delivered", Kind.DATE, "day the unit was handed over", known="delivered"),
        Field("scope", Kind.TEXT, "agreed scope", known="settled_on"),
        Field(
            "declined",
            Kind.TEXT,
            "positions whose work the customer declined, separated by ;",
            known="settled_on",
        ),
        Field(
            "odometer",
            Kind.MEASURE,
            "vehicle's odometer at the visit",
            dimension=DISTANCE,
            low=0,
            high=5_000_000,
        ),
        Field(
            "unit_distance",
            Kind.MEASURE,
            "the unit's own distance at the visit",
            dimension=DISTANCE,
            low=0,
            high=5_000_000,
        ),
        Field("hours", Kind.MEASURE, "hour meter at the visit", dimension=DURATION, low=0, high=200_000),
        Field("usage_basis", Kind.WORD, "how the usage is known", vocabulary="usage_basis"),
        Field("duty", Kind.WORD, "what the unit does", vocabulary="duty"),
        Field("complaint_since", Kind.DATE, "since when it complains"),
        Field(
            "odometer_since",
            Kind.MEASURE,
            "odometer when the complaint began",
            dimension=DISTANCE,
            low=0,
            high=5_000_000,
        ),
        Field("oil_brass", Kind.WORD, "brass in the drained oil", vocabulary="trace"),
        Field("oil_steel", Kind.WORD, "steel in the drained oil", vocabulary="trace"),
        Field("oil_changed_recently", Kind.FLAG, "the oil had been changed shortly before"),
        Field(
            "earlier_work",
            Kind.WORD,
            "evidence of earlier work",
            vocabulary="earlier_work",
            known="torn_down",
        ),
        Field("arrival", Kind.WORD, "came loose or in the vehicle", vocabulary="arrival"),
        Field("refitted_by", Kind.WORD, "who refitted it", vocabulary="refitter", known="settled_on"),
        Field(
            "gear_set_found",
            Kind.TEXT,
            "number of the gear set as found",
            names="gear_set.set_number",
            known="torn_down",
        ),
        Field(
            "gear_set_built",
            Kind.TEXT,
            "number of the gear set as built",
            names="gear_set.set_number",
            known="settled_on",
        ),
        Field("case_replaced", Kind.FLAG, "the casing was replaced", known="settled_on"),
        Field("quoted", Kind.MEASURE, "price quoted, net", dimension=MONEY, low=0, high=1_000_000),
        Field(
            "invoiced",
            Kind.MEASURE,
            "amount invoiced, net",
            dimension=MONEY,
            low=0,
            high=1_000_000,
            known="settled_on",
        ),
        Field("warranty_months", Kind.COUNT, "months of warranty", low=0, high=120, known="settled_on"),
        Field(
            "warranty_distance",
            Kind.MEASURE,
            "distance of warranty",
            dimension=DISTANCE,
            low=0,
            high=1_000_000,
            known="settled_on",
        ),
        Field("technician", Kind.TEXT, "lead technician's code"),
        Field("customer", Kind.PERSON, "customer; only a keyed digest is kept"),
        Field("fleet", Kind.TEXT, "fleet; empty for private owners"),
        ENTERED,
    ),
    sheet_names=("jobs",),
)

COMPLAINT = RecordType(
    name="complaint",
    about="one complaint of a job",
    grain="one row per job and complaint",
    known_on="coalesce(j.opened)",
    settled_on="coalesce(j.opened)",
    fields=(
        JOB,
        Field("complaint", Kind.WORD, "what it does", required=True, vocabulary="complaint"),
        Field("when_heard", Kind.WORD, "when it shows", vocabulary="when_heard"),
        Field("gear", Kind.TEXT, "gear in which it shows"),
        Field("shift_direction", Kind.WORD, "changing up or down", vocabulary="shift_direction"),
        Field("since", Kind.DATE, "since when"),
        Field("place", Kind.TEXT, "where, such as the place of a leak"),
    ),
    sheet_names=("complaints",),
)

FINDING = RecordType(
    name="finding",
    about="a component position inspected, also when nothing was wrong",
    grain="one row per job and component position",
    key=("job", "position"),
    known_on=JOB_TAKEN_APART,
    settled_on=JOB_PUT_TOGETHER,
    entered="entered",
    fields=(
        JOB,
        Field("position", Kind.TEXT, "component position", required=True),
        Field("grade", Kind.WORD, "condition grade 0 (as new) to 4 (broken)", vocabulary="grade"),
        Field("ring_gap", Kind.MEASURE, "measured gap between ring and cone", dimension=LENGTH, low=0, high=5),
        Field("end_float", Kind.MEASURE, "measured end float", dimension=LENGTH, low=0, high=5),
        Field("damage_mode", Kind.WORD, "how it was damaged", vocabulary="damage_mode"),
        Field("role", Kind.WORD, "what it was to the complaint", vocabulary="role"),
        Field("action", Kind.WORD, "what was done with it", vocabulary="action", known="settled_on"),
        ENTERED,
    ),
    sheet_names=("findings",),
)

COMEBACK = RecordType(
    name="comeback",
    about="a visit that comes back from a job, also one settled without opening the unit",
    grain="one row per original job and day reported",
    key=("original_job", "reported"),
    known_on="r.reported",
    settled_on="coalesce(r.settled, r.reported)",
    in_order=(("reported", "settled"),),
    entered="entered",
    fields=(
        Field("original_job", Kind.TEXT, "the job it comes back from", required=True, references="job.job"),
        Field(
            "comeback_job",
            Kind.TEXT,
            "the job it became; empty when settled without opening",
            references="job.job",
        ),
        Field("reported", Kind.DATE, "day it was reported", required=True),
        Field("settled", Kind.DATE, "day it was settled", known="settled"),
        Field("outcome", Kind.WORD, "what it turned out to be", vocabulary="outcome", known="settled_on"),
        Field("payer", Kind.WORD, "who paid", vocabulary="payer", known="settled_on"),
        Field("position", Kind.TEXT, "component position at fault", known="settled_on"),
        Field("damage_mode", Kind.WORD, "how it was damaged", vocabulary="damage_mode", known="settled_on"),
        Field("odometer", Kind.MEASURE, "odometer when reported", dimension=DISTANCE, low=0, high=5_000_000),
        Field(
            "cost",
            Kind.MEASURE,
            "cost to the workshop, net",
            dimension=MONEY,
            low=0,
            high=1_000_000,
            known="settled_on",
        ),
        ENTERED,
    ),
    sheet_names=("comebacks",),
)

JOB_RECORDS: tuple[RecordType, ...] = (THE_JOB, COMPLAINT, FINDING, COMEBACK)
