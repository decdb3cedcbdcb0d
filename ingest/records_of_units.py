"""Declare the records that describe unit families and single units."""

from __future__ import annotations

from ingest.record_model import Field, Kind, RecordType
from ingest.units_of_measure import ANGLE, DISTANCE, DURATION, LENGTH

ENTERED = Field(
    "entered",
    Kind.DATE,
    "day on which this row was entered or last corrected",
    headings=("entered on", "date entered", "corrected on"),
)

FAMILY = RecordType(
    name="family",
    about="a family of units that are built alike",
    grain="one row per unit family",
    key=("family",),
    fields=(
        Field("family", Kind.TEXT, "the family's name in this workshop", required=True, headings=("unit family",)),
        Field(
            "kind",
            Kind.WORD,
            "gearbox, transaxle, transfer box or axle drive",
            required=True,
            vocabulary="unit_kind",
        ),
        Field("description", Kind.TEXT, "free text"),
        Field("speeds", Kind.COUNT, "number of forward speeds", low=1, high=24),
        ENTERED,
    ),
    sheet_names=("families",),
)

POSITION = RecordType(
    name="position",
    about="a place in a family where a component sits and is inspected",
    grain="one row per family and component position",
    key=("family", "position"),
    fields=(
        Field("family", Kind.TEXT, "unit family", required=True, names="family.family", headings=("unit family",)),
        Field(
            "position",
            Kind.TEXT,
            "the position's name, such as '2nd synchroniser ring'",
            required=True,
            headings=("component position",),
        ),
        Field(
            "component",
            Kind.WORD,
            "kind of component",
            required=True,
            vocabulary="component",
            headings=("kind of component",),
        ),
        Field("material", Kind.WORD, "lining or material where it matters", vocabulary="material"),
        Field("gear", Kind.TEXT, "gear it serves, such as 2 or R"),
        Field("mate", Kind.TEXT, "position it wears with, such as ring and slider"),
        ENTERED,
    ),
    sheet_names=("positions", "component positions"),
)

SHIM_LOCATION = RecordType(
    name="shim_location",
    about="a place where a thickness sets a reading",
    grain="one row per family and location",
    key=("family", "location"),
    fields=(
        Field("family", Kind.TEXT, "unit family", required=True, names="family.family", headings=("unit family",)),
        Field(
            "location",
            Kind.TEXT,
            "the location's name, such as 'behind pinion head'",
            required=True,
            headings=("shim location",),
        ),
        Field("sits", Kind.WORD, "what sits there", required=True, vocabulary="shim_kind"),
        Field("quantity", Kind.WORD, "the reading it sets", required=True, vocabulary="quantity"),
        Field(
            "thicker_moves",
            Kind.WORD,
            "which way thicker moves the reading",
            required=True,
            vocabulary="thicker_moves",
        ),
        Field("thinnest", Kind.MEASURE, "thinnest total", dimension=LENGTH, low=0, high=60),
        Field("thickest", Kind.MEASURE, "thickest total", dimension=LENGTH, low=0, high=60),
        Field("step", Kind.MEASURE, "step between pieces", dimension=LENGTH, low=0, high=5, headings=("step size",)),
        Field("stackable", Kind.FLAG, "pieces may be stacked; no means one piece only"),
        Field("side", Kind.TEXT, "for a pair of side packs: left or right"),
        ENTERED,
    ),
    in_order=(("thinnest", "thickest"),),
    sheet_names=("shim locations", "locations"),
)

SPECIFICATION = RecordType(
    name="specification",
    about="the limits of a reading",
    grain="one row per family, location, quantity, gear-set and bearing condition",
    key=("family", "location", "quantity", "gear_set_condition", "bearing_condition"),
    fields=(
        Field("family", Kind.TEXT, "unit family", required=True, names="family.family", headings=("unit family",)),
        Field("location", Kind.TEXT, "shim location that sets it; empty where none does", headings=("shim location",)),
        Field("quantity", Kind.WORD, "what is read", required=True, vocabulary="quantity"),
        Field("gear_set_condition", Kind.WORD, "new, used or any gear set", vocabulary="part_condition"),
        Field("bearing_condition", Kind.WORD, "new, used or any bearings", vocabulary="part_condition"),
        Field("basis", Kind.WORD, "where the target comes from", required=True, vocabulary="basis"),
        Field("constant", Kind.READING, "the constant (target, or what the marking is added to)"),
        Field(
            "lower",
            Kind.READING,
            "lower limit; a deviation from the target unless the basis is constant",
            headings=("lower limit", "minimum"),
        ),
        Field(
            "upper",
            Kind.READING,
            "upper limit; a deviation from the target unless the basis is constant",
            headings=("upper limit", "maximum"),
        ),
        Field(
            "unit_written",
            Kind.TEXT,
            "unit in which this row is written, where the heading does not say",
            headings=("unit", "unit of measure"),
        ),
        Field("torque_kind", Kind.WORD, "running or breakaway", vocabulary="torque_kind"),
        Field("seals", Kind.WORD, "seals on or off", vocabulary="seals"),
        Field("oiled", Kind.FLAG, "bearings oiled"),
        Field("cold", Kind.FLAG, "read cold"),
        ENTERED,
    ),
    sheet_names=("specifications", "limits"),
)

GEAR_SET = RecordType(
    name="gear_set",
    about="a crown wheel and pinion, or a matched gear pair",
    grain="one row per set number",
    key=("set_number",),
    fields=(
        Field(
            "set_number",
            Kind.TEXT,
            "number etched on the set",
            required=True,
            headings=("gear set", "set no", "gear set number"),
        ),
        Field("family", Kind.TEXT, "unit family", names="family.family", headings=("unit family",)),
        Field("wheel_teeth", Kind.COUNT, "teeth of the wheel", low=5, high=200),
        Field("pinion_teeth", Kind.COUNT, "teeth of the pinion", low=3, high=100),
        Field("tooth_form", Kind.WORD, "form of the teeth", vocabulary="tooth_form"),
        Field("pitch_angle", Kind.MEASURE, "pitch angle of the wheel", dimension=ANGLE, low=0, high=90),
        Field("pressure_angle", Kind.MEASURE, "normal pressure angle", dimension=ANGLE, low=10, high=35),
        Field("spiral_angle", Kind.MEASURE, "mean spiral angle of the wheel", dimension=ANGLE, low=0, high=60),
        Field(
            "marked_depth",
            Kind.MEASURE,
            "deviation of depth marked on the pinion",
            dimension=LENGTH,
            low=-2,
            high=2,
            headings=("marked deviation", "depth marking"),
        ),
        Field("sign_rule", Kind.WORD, "how the marking enters the target", vocabulary="sign_rule"),
        Field(
            "marked_backlash",
            Kind.MEASURE,
            "backlash marked on the set",
            dimension=LENGTH,
            low=0,
            high=2,
            headings=("backlash marked",),
        ),
        Field("set_condition", Kind.WORD, "new or used when first seen", vocabulary="part_condition"),
        Field("matched_members", Kind.TEXT, "numbers of the members that belong together"),
        ENTERED,
    ),
    sheet_names=("gear sets",),
)

UNIT = RecordType(
    name="unit",
    about="one gearbox, transaxle, transfer box or axle drive",
    grain="one row per workshop tag or serial number",
    key=("unit",),
    fields=(
        Field(
            "unit",
            Kind.TEXT,
            "workshop tag or serial number",
            required=True,
            headings=("unit number", "unit no", "unit tag", "tag"),
        ),
        Field("family", Kind.TEXT, "unit family", required=True, names="family.family", headings=("unit family",)),
        Field("serial_number", Kind.TEXT, "serial number where the tag is another", headings=("serial", "serial no")),
        Field(
            "in_service_since",
            Kind.DATE,
            "first day in service",
            known="in_service_since",
            headings=("in service from", "in service"),
        ),
        Field(
            "register_entry",
            Kind.DATE,
            "day on which a fleet's register first listed it",
            known="register_entry",
        ),
        Field("lives_known_from_new", Kind.FLAG, "no earlier life before in_service_since"),
        ENTERED,
    ),
    sheet_names=("units", "register"),
)

FITTING = RecordType(
    name="fitting",
    about="a unit in a vehicle for a time",
    grain="one row per unit and day of fitting",
    key=("unit", "fitted_from"),
    known_on="coalesce(r.listed, r.fitted_from)",
    settled_on="coalesce(r.fitted_to, r.listed, r.fitted_from)",
    in_order=(("fitted_from", "fitted_to"),),
    fields=(
        Field(
            "unit",
            Kind.TEXT,
            "unit",
            required=True,
            references="unit.unit",
            headings=("unit number", "unit no", "unit tag", "tag"),
        ),
        Field("fitted_from", Kind.DATE, "first day in the vehicle", required=True, headings=("fitted on", "from")),
        Field("fitted_to", Kind.DATE, "last day in the vehicle", known="fitted_to", headings=("removed on", "to")),
        Field("vehicle", Kind.TEXT, "the vehicle's reference", headings=("vehicle reference",)),
        Field("fleet", Kind.TEXT, "fleet; empty for private owners"),
        Field("duty", Kind.WORD, "what the vehicle does", vocabulary="duty"),
        Field(
            "odometer",
            Kind.MEASURE,
            "vehicle's odometer at fitting",
            dimension=DISTANCE,
            low=0,
            high=5_000_000,
            headings=("odo", "odometer reading", "mileage"),
        ),
        Field(
            "unit_distance",
            Kind.MEASURE,
            "the unit's own distance at fitting",
            dimension=DISTANCE,
            low=0,
            high=5_000_000,
        ),
        Field(
            "hours",
            Kind.MEASURE,
            "hour meter at fitting",
            dimension=DURATION,
            low=0,
            high=200_000,
            headings=("hour meter", "meter hours"),
        ),
        Field("listed", Kind.DATE, "day on which the register first listed this fitting"),
        ENTERED,
    ),
    sheet_names=("fittings",),
)

SIGHTING = RecordType(
    name="sighting",
    about="a later sighting of a unit",
    grain="one row per unit, day and reason",
    key=("unit", "seen", "source"),
    known_on="r.seen",
    settled_on="r.seen",
    fields=(
        Field(
            "unit",
            Kind.TEXT,
            "unit",
            required=True,
            references="unit.unit",
            headings=("unit number", "unit no", "unit tag", "tag"),
        ),
        Field("seen", Kind.DATE, "day of the sighting", required=True, headings=("seen on", "date seen")),
        Field(
            "odometer",
            Kind.MEASURE,
            "vehicle's odometer",
            dimension=DISTANCE,
            low=0,
            high=5_000_000,
            headings=("odo", "odometer reading", "mileage"),
        ),
        Field(
            "hours",
            Kind.MEASURE,
            "hour meter",
            dimension=DURATION,
            low=0,
            high=200_000,
            headings=("hour meter", "meter hours"),
        ),
        Field("state", Kind.WORD, "running, retired or opened elsewhere", vocabulary="unit_state"),
        Field("source", Kind.WORD, "why it was seen", vocabulary="sighting_source"),
        ENTERED,
    ),
    sheet_names=("sightings",),
)
