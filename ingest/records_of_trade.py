"""Declare the records of parts, labour, waiting and money."""

from __future__ import annotations

from ingest.record_model import Field, Kind, RecordType
from ingest.records_of_jobs import JOB, JOB_PUT_TOGETHER
from ingest.records_of_units import ENTERED
from ingest.units_of_measure import AMOUNT, DURATION, LENGTH, MONEY

PART = RecordType(
    name="part",
    about="a part number",
    grain="one row per part number",
    key=("part",),
    fields=(
        Field("part", Kind.TEXT, "part number", required=True, headings=("part number", "part no")),
        Field("description", Kind.TEXT, "what it is"),
        Field("component", Kind.WORD, "kind of component", vocabulary="component"),
        Field(
            "family", Kind.TEXT, "unit family where it fits one only", names="family.family", headings=("unit family",)
        ),
        Field("location", Kind.TEXT, "shim location, for a shim", headings=("shim location",)),
        Field("thickness", Kind.MEASURE, "thickness, for a shim", dimension=LENGTH, low=0.01, high=60),
        ENTERED,
    ),
    sheet_names=("parts",),
)

KIT = RecordType(
    name="kit",
    about="one part of a kit",
    grain="one row per kit and part in it",
    key=("kit", "part"),
    fields=(
        Field("kit", Kind.TEXT, "part number of the kit", required=True, headings=("kit number", "kit no")),
        Field(
            "part",
            Kind.TEXT,
            "part number inside",
            required=True,
            names="part.part",
            headings=("part number", "part no"),
        ),
        Field("position", Kind.TEXT, "component position it serves", headings=("component position",)),
        Field(
            "quantity", Kind.MEASURE, "pieces inside", dimension=AMOUNT, low=0, high=1000, headings=("qty", "pieces")
        ),
        ENTERED,
    ),
    sheet_names=("kits",),
)

PART_LINE = RecordType(
    name="part_line",
    about="a part fitted, sent back or left over",
    grain="one row per line",
    known_on=f"coalesce(r.ordered, r.received, {JOB_PUT_TOGETHER})",
    settled_on=f"greatest(coalesce(r.ordered, r.received, {JOB_PUT_TOGETHER}), {JOB_PUT_TOGETHER})",
    in_order=(("ordered", "received"),),
    fields=(
        JOB,
        Field("part", Kind.TEXT, "part number", required=True, names="part.part", headings=("part number", "part no")),
        Field("movement", Kind.WORD, "fitted, sent back or left over", vocabulary="movement", known="settled_on"),
        Field("position", Kind.TEXT, "component position", known="settled_on", headings=("component position",)),
        Field("supplier", Kind.TEXT, "supplier"),
        Field("maker", Kind.TEXT, "maker in the box", known="settled_on"),
        Field("lot", Kind.TEXT, "lot mark or receipt date", known="settled_on", headings=("batch",)),
        Field("lot_basis", Kind.WORD, "lot mark or receipt date", vocabulary="lot_basis", known="settled_on"),
        Field(
            "origin",
            Kind.WORD,
            "new, reconditioned, donor, own or customer's",
            vocabulary="origin",
            known="settled_on",
        ),
        Field("kit", Kind.TEXT, "kit it came from", known="settled_on", headings=("kit number", "kit no")),
        Field(
            "quantity",
            Kind.MEASURE,
            "pieces",
            required=True,
            dimension=AMOUNT,
            low=0,
            high=10_000,
            headings=("qty", "pieces"),
        ),
        Field(
            "unit_cost",
            Kind.MEASURE,
            "cost of one, net",
            dimension=MONEY,
            low=0,
            high=200_000,
            known="settled_on",
            headings=("cost each", "cost"),
        ),
        Field(
            "unit_price",
            Kind.MEASURE,
            "price of one, net",
            dimension=MONEY,
            low=0,
            high=400_000,
            known="settled_on",
            headings=("price each", "price"),
        ),
        Field(
            "core_deposit",
            Kind.MEASURE,
            "core deposit",
            dimension=MONEY,
            low=0,
            high=100_000,
            known="settled_on",
            headings=("deposit",),
        ),
        Field("ordered", Kind.DATE, "day it was ordered", known="ordered", headings=("ordered on", "date ordered")),
        Field(
            "received", Kind.DATE, "day it was received", known="received", headings=("received on", "date received")
        ),
    ),
    sheet_names=("part lines", "parts used"),
)

LABOUR = RecordType(
    name="labour",
    about="hours of one technician on one operation",
    grain="one row per line",
    known_on=f"coalesce(r.worked_on, {JOB_PUT_TOGETHER})",
    settled_on=f"coalesce(r.worked_on, {JOB_PUT_TOGETHER})",
    fields=(
        JOB,
        Field("operation", Kind.TEXT, "operation", required=True),
        Field("technician", Kind.TEXT, "technician's code", headings=("tech", "technician code")),
        Field("worked", Kind.MEASURE, "hours worked", dimension=DURATION, low=0, high=400, headings=("hours worked",)),
        Field("billed", Kind.MEASURE, "hours billed", dimension=DURATION, low=0, high=400, headings=("hours billed",)),
        Field("place", Kind.WORD, "bench or vehicle", vocabulary="place"),
        Field("worked_on", Kind.DATE, "day", headings=("date", "date worked")),
    ),
    sheet_names=("labour", "hours"),
)

OUTSIDE_WORK = RecordType(
    name="outside_work",
    about="work sent out: cleaning, plating, grinding",
    grain="one row per line",
    known_on=f"coalesce(r.sent, {JOB_PUT_TOGETHER})",
    settled_on=f"coalesce(r.back, r.sent, {JOB_PUT_TOGETHER})",
    in_order=(("sent", "back"),),
    fields=(
        JOB,
        Field("process", Kind.TEXT, "what was done", required=True, headings=("work done",)),
        Field("contractor", Kind.TEXT, "who did it", headings=("done by",)),
        Field("cost", Kind.MEASURE, "cost, net", dimension=MONEY, low=0, high=200_000, known="settled_on"),
        Field("price", Kind.MEASURE, "price, net", dimension=MONEY, low=0, high=400_000, known="settled_on"),
        Field("sent", Kind.DATE, "day sent", known="sent", headings=("sent on", "date sent")),
        Field("back", Kind.DATE, "day back", known="back", headings=("back on", "date back")),
    ),
    sheet_names=("outside work",),
)

WAIT = RecordType(
    name="wait",
    about="a time in which the job stood still",
    grain="one row per job, reason and start",
    known_on="coalesce(r.wait_from, j.opened)",
    settled_on="coalesce(r.wait_to, r.wait_from, j.opened)",
    in_order=(("wait_from", "wait_to"),),
    fields=(
        JOB,
        Field(
            "waiting_on",
            Kind.WORD,
            "what it waited for",
            required=True,
            vocabulary="waiting_on",
            headings=("waiting for", "waited for"),
        ),
        Field("part", Kind.TEXT, "part number it waited for", names="part.part", headings=("part number", "part no")),
        Field("wait_from", Kind.DATE, "first day", required=True, headings=("from", "waiting from")),
        Field("wait_to", Kind.DATE, "last day", known="wait_to", headings=("to", "waiting to")),
    ),
    sheet_names=("waits",),
)

QUOTE = RecordType(
    name="quote",
    about="an offer",
    grain="one row per quote number",
    key=("quote",),
    known_on="r.quoted_on",
    settled_on="coalesce(r.answered_on, r.quoted_on)",
    in_order=(("quoted_on", "answered_on"),),
    entered="entered",
    fields=(
        Field("quote", Kind.TEXT, "quote number", required=True, headings=("quote number", "quote no")),
        Field("quoted_on", Kind.DATE, "day of the offer", required=True, headings=("date quoted", "date")),
        Field("unit", Kind.TEXT, "unit", names="unit.unit", headings=("unit number", "unit no", "unit tag", "tag")),
        Field("family", Kind.TEXT, "unit family", names="family.family", headings=("unit family",)),
        Field(
            "job",
            Kind.TEXT,
            "job it became",
            names="job.job",
            known="settled_on",
            headings=("job number", "job no", "job nr"),
        ),
        Field("scope", Kind.WORD, "kind of job offered", vocabulary="job_kind"),
        Field("price", Kind.MEASURE, "price, net", dimension=MONEY, low=0, high=1_000_000),
        Field(
            "strip_fee",
            Kind.MEASURE,
            "fee when declined after the strip",
            dimension=MONEY,
            low=0,
            high=100_000,
        ),
        Field("answer", Kind.WORD, "answer", vocabulary="answer", known="settled_on"),
        Field("answered_on", Kind.DATE, "day of the answer", known="answered_on", headings=("date answered",)),
        ENTERED,
    ),
    sheet_names=("quotes",),
)

MONEY_LINE = RecordType(
    name="money_line",
    about="a deposit, credit note, discount or supplier's warranty credit",
    grain="one row per line",
    known_on=f"coalesce(r.booked_on, {JOB_PUT_TOGETHER})",
    settled_on=f"coalesce(r.booked_on, {JOB_PUT_TOGETHER})",
    fields=(
        JOB,
        Field(
            "money_kind",
            Kind.WORD,
            "kind of line",
            required=True,
            vocabulary="money_kind",
            headings=("kind", "kind of line"),
        ),
        Field(
            "amount",
            Kind.MEASURE,
            "amount, net of sales tax",
            required=True,
            dimension=MONEY,
            low=-1_000_000,
            high=1_000_000,
        ),
        Field("booked_on", Kind.DATE, "day booked", headings=("date booked", "date")),
        Field("supplier", Kind.TEXT, "supplier, for a supplier's credit"),
        Field(
            "part",
            Kind.TEXT,
            "part number, for a supplier's credit",
            names="part.part",
            headings=("part number", "part no"),
        ),
    ),
    sheet_names=("money lines",),
)

STOCK = RecordType(
    name="stock",
    about="what lay on the shelf on a day",
    grain="one row per part and day counted",
    key=("part", "counted_on"),
    known_on="r.counted_on",
    settled_on="r.counted_on",
    fields=(
        Field("part", Kind.TEXT, "part number", required=True, names="part.part", headings=("part number", "part no")),
        Field("counted_on", Kind.DATE, "day counted", required=True, headings=("counted", "date counted", "date")),
        Field(
            "on_hand", Kind.MEASURE, "pieces on hand", dimension=AMOUNT, low=0, high=1_000_000, headings=("in stock",)
        ),
        Field("on_order", Kind.MEASURE, "pieces on order", dimension=AMOUNT, low=0, high=1_000_000),
        Field("lot", Kind.TEXT, "lot on the shelf"),
        ENTERED,
    ),
    sheet_names=("stock",),
)

PRICE_LIST = RecordType(
    name="price_list",
    about="what a supplier asks for a part from a day on",
    grain="one row per part, supplier and first day of validity",
    key=("part", "supplier", "valid_from"),
    known_on="r.valid_from",
    settled_on="r.valid_from",
    fields=(
        Field("part", Kind.TEXT, "part number", required=True, names="part.part", headings=("part number", "part no")),
        Field("supplier", Kind.TEXT, "supplier", required=True),
        Field("valid_from", Kind.DATE, "first day", required=True, headings=("from",)),
        Field(
            "cost",
            Kind.MEASURE,
            "cost of one, net",
            required=True,
            dimension=MONEY,
            low=0,
            high=200_000,
            headings=("unit cost", "cost each"),
        ),
        Field("lead_days", Kind.COUNT, "days from order to receipt", low=0, high=730, headings=("lead time days",)),
        Field(
            "order_quantity",
            Kind.MEASURE,
            "pieces per order",
            dimension=AMOUNT,
            low=0,
            high=100_000,
            headings=("minimum order",),
        ),
        ENTERED,
    ),
    sheet_names=("price list", "prices"),
)

TRADE_RECORDS: tuple[RecordType, ...] = (
    PART_LINE, LABOUR, OUTSIDE_WORK, WAIT, QUOTE, MONEY_LINE, STOCK, PRICE_LIST,
)  # fmt: skip
