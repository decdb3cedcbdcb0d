"""Declare the records of readings: measurements, contact patterns, gauge checks, shims and road tests."""

from __future__ import annotations

from ingest.record_model import Field, Kind, RecordType
from ingest.records_of_jobs import JOB, JOB_PUT_TOGETHER, JOB_TAKEN_APART
from ingest.records_of_units import ENTERED
from ingest.units_of_measure import DISTANCE, LENGTH

_BY_STAGE = f"case when r.stage = 'as_found' then {JOB_TAKEN_APART} else {JOB_PUT_TOGETHER} end"

MEASUREMENT = RecordType(
    name="measurement",
    about="one reading",
    grain="one row per reading",
    known_on=f"coalesce(r.read_on, {_BY_STAGE})",
    settled_on=f"coalesce(r.read_on, {_BY_STAGE})",
    in_order=(("lower", "upper"),),
    fields=(
        JOB,
        Field(
            "quantity", Kind.WORD, "what was read", required=True, vocabulary="quantity", headings=("what was read",)
        ),
        Field("location", Kind.TEXT, "shim location it belongs to", headings=("shim location",)),
        Field("stage", Kind.WORD, "as found, trial or as built", required=True, vocabulary="stage"),
        Field("trial", Kind.COUNT, "number of the trial", low=1, high=60),
        Field("point", Kind.COUNT, "point round the ring", low=1, high=36),
        Field("value", Kind.READING, "the reading", required=True, headings=("reading", "measured")),
        Field("target", Kind.READING, "what was aimed at"),
        Field("lower", Kind.READING, "lower limit", headings=("lower limit", "minimum")),
        Field("upper", Kind.READING, "upper limit", headings=("upper limit", "maximum")),
        Field(
            "unit_written",
            Kind.TEXT,
            "unit in which this row is written, where the heading does not say",
            headings=("unit", "unit of measure"),
        ),
        Field("instrument", Kind.TEXT, "gauge used", headings=("gauge",)),
        Field("technician", Kind.TEXT, "who read it", headings=("read by", "tech")),
        Field("read_on", Kind.DATE, "day of the reading", headings=("date read", "date")),
        Field("torque_kind", Kind.WORD, "running or breakaway", vocabulary="torque_kind"),
        Field("seals", Kind.WORD, "seals on or off", vocabulary="seals"),
        Field("oiled", Kind.FLAG, "bearings oiled"),
        Field("cold", Kind.FLAG, "read cold"),
        Field("bearing_state", Kind.WORD, "set-up or final bearing", vocabulary="bearing_state"),
        Field("bearing_maker", Kind.TEXT, "maker of the bearing at this location"),
        Field("bearing_condition", Kind.WORD, "new or used bearing", vocabulary="part_condition"),
    ),
    sheet_names=("measurements", "readings"),
)

CONTACT_PATTERN = RecordType(
    name="contact_pattern",
    about="the contact pattern of a trial",
    grain="one row per job and trial",
    key=("job", "trial"),
    known_on=JOB_PUT_TOGETHER,
    settled_on=JOB_PUT_TOGETHER,
    fields=(
        JOB,
        Field("trial", Kind.COUNT, "number of the trial", required=True, low=0, high=60),
        Field("drive_lengthwise", Kind.WORD, "drive side: toe, centre or heel", vocabulary="lengthwise"),
        Field("drive_profile", Kind.WORD, "drive side: face, centre or flank", vocabulary="profile"),
        Field("coast_lengthwise", Kind.WORD, "coast side: toe, centre or heel", vocabulary="lengthwise"),
        Field("coast_profile", Kind.WORD, "coast side: face, centre or flank", vocabulary="profile"),
        Field("passed", Kind.FLAG, "accepted"),
        ENTERED,
    ),
    sheet_names=("contact patterns", "patterns"),
)

GAUGE_CHECK = RecordType(
    name="gauge_check",
    about="a reading on the master",
    grain="one row per reading on the master",
    known_on="r.read_on",
    settled_on="r.read_on",
    fields=(
        Field("instrument", Kind.TEXT, "gauge", required=True, headings=("gauge",)),
        Field("read_on", Kind.DATE, "day of the check", required=True, headings=("date read", "date", "checked on")),
        Field("quantity", Kind.WORD, "what the gauge reads", required=True, vocabulary="quantity"),
        Field(
            "expected", Kind.READING, "value of the master", required=True, headings=("master", "value of the master")
        ),
        Field("value", Kind.READING, "what the gauge read", required=True, headings=("reading",)),
        Field(
            "unit_written",
            Kind.TEXT,
            "unit in which this row is written, where the heading does not say",
            headings=("unit", "unit of measure"),
        ),
        Field("technician", Kind.TEXT, "who read it", headings=("read by", "tech")),
    ),
    sheet_names=("gauge checks",),
)

SHIM = RecordType(
    name="shim",
    about="shims of one thickness at one location",
    grain="one row per job, location, stage, trial and thickness",
    known_on=_BY_STAGE,
    settled_on=_BY_STAGE,
    fields=(
        JOB,
        Field("location", Kind.TEXT, "shim location", required=True, headings=("shim location",)),
        Field("stage", Kind.WORD, "as found, trial or as built", required=True, vocabulary="stage"),
        Field("trial", Kind.COUNT, "number of the trial", low=1, high=60),
        Field(
            "thickness",
            Kind.MEASURE,
            "thickness of one piece",
            required=True,
            dimension=LENGTH,
            low=0.01,
            high=60,
            headings=("shim thickness",),
        ),
        Field(
            "pieces",
            Kind.COUNT,
            "number of pieces; one where not given",
            low=1,
            high=40,
            headings=("count", "number of pieces"),
        ),
        Field("thickness_basis", Kind.WORD, "nominal or measured", vocabulary="thickness_basis"),
        Field("part", Kind.TEXT, "part number", names="part.part", headings=("part number", "part no")),
    ),
    sheet_names=("shims",),
)

ROAD_TEST = RecordType(
    name="road_test",
    about="a drive or a spin on the bench, gear by gear",
    grain="one row per job, test and gear",
    known_on=f"coalesce(r.tested_on, {JOB_PUT_TOGETHER})",
    settled_on=f"coalesce(r.tested_on, {JOB_PUT_TOGETHER})",
    fields=(
        JOB,
        Field("test", Kind.WORD, "drive or bench spin", vocabulary="test_kind"),
        Field("tested_on", Kind.DATE, "day of the test", headings=("date tested", "date")),
        Field("before_work", Kind.FLAG, "test drive before the work"),
        Field(
            "distance",
            Kind.MEASURE,
            "distance driven",
            dimension=DISTANCE,
            low=0,
            high=5000,
            headings=("distance driven",),
        ),
        Field("gear", Kind.TEXT, "gear"),
        Field("up", Kind.WORD, "changing up", vocabulary="result"),
        Field("down", Kind.WORD, "changing down", vocabulary="result"),
        Field("on_drive", Kind.WORD, "under drive", vocabulary="result"),
        Field("on_coast", Kind.WORD, "on the coast", vocabulary="result"),
        Field("leaks", Kind.FLAG, "leaks seen"),
        Field("noise", Kind.TEXT, "noise heard"),
    ),
    sheet_names=("road tests",),
)

BENCH_RECORDS: tuple[RecordType, ...] = (MEASUREMENT, CONTACT_PATTERN, GAUGE_CHECK, SHIM, ROAD_TEST)
