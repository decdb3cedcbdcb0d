"""Lay out what office, fleets and bookkeeper keep: registers, sightings, prices, part lines, hours, money."""

from __future__ import annotations

import polars as pl

from demo_warehouse.pages import Column, Page, Reading, rows_of, simple_page, template_columns
from demo_warehouse.scenario import Scenario
from ingest.records import record_named

Frames = dict[str, pl.DataFrame]
BOOKKEEPER = {"encoding": "cp1252", "delimiter": ";", "decimal": ",", "date_order": "day"}
PART_HEADINGS = {
    "job": "Auftrag", "part": "Teilenummer", "movement": "Vorgang", "position": "Stelle", "supplier": "Lieferant",
    "maker": "Hersteller", "lot": "Charge", "lot_basis": "Chargenart", "origin": "Herkunft", "kit": "Aus Satz",
    "quantity": "Stückzahl", "unit_cost": "Einzelkosten netto", "unit_price": "Einzelpreis netto",
    "core_deposit": "Altteilpfand", "ordered": "Bestellt am", "received": "Erhalten am",
}  # fmt: skip
LABOUR_HEADINGS = {
    "job": "Auftrag", "operation": "Tätigkeit", "technician": "Kürzel", "worked": "Stunden geleistet",
    "billed": "Stunden berechnet", "place": "Wo", "worked_on": "Tag",
}  # fmt: skip
MONEY_HEADINGS = {
    "job": "Auftrag", "money_kind": "Art", "amount": "Betrag netto", "booked_on": "Gebucht am", "supplier": "Lieferant",
    "part": "Teilenummer",
}  # fmt: skip
PART_WORDS = {
    "movement": {"fitted": "verbaut", "returned": "zurück", "left_over": "übrig"},
    "origin": {
        "new": "neu", "reconditioned": "aufbereitet", "used_donor": "gebraucht", "own_refitted": "eigenes",
        "customer_supplied": "vom Kunden",
    },
    "lot_basis": {"lot": "Charge", "receipt_date": "Eingangstag"},
}  # fmt: skip
MONEY_WORDS = {
    "deposit": "Anzahlung",
    "credit_note": "Gutschrift",
    "discount": "Nachlass",
    "supplier_credit": "Lieferantengutschrift",
}
PLACE_WORDS = {"bench": "Werkbank", "vehicle": "Fahrzeug"}
FILES_OF_PART_LINES = (("2016", "2019"), ("2019", "2022"), ("2023", "2026"))


def office_pages(records: Frames, scenario: Scenario) -> list[Page]:
    """Return every page that is not a job book."""
    return [
        *_workshop_book(records),
        *_registers(records, scenario),
        *_sightings(records, scenario),
        *_office(records),
        *_bookkeeping(records),
        _gauge_checks(records),
        _price_list(records),
        _stock(records),
    ]


def _workshop_book(records: Frames) -> list[Page]:
    """Return the catalogue sheets, under the template's own headings."""
    pages = []
    sheets = (
        ("family", "Families"), ("position", "Component positions"), ("shim_location", "Shim locations"),
        ("specification", "Specifications"), ("part", "Parts"), ("kit", "Kits"), ("gear_set", "Gear sets"),
    )  # fmt: skip
    for name, sheet in sheets:
        record = record_named(name)
        pages.append(
            simple_page(
                "workshop_book.xlsx",
                sheet,
                record,
                template_columns(record),
                records[name],
                title=(f"{sheet} of the workshop", "") if name in ("family", "part") else (),
            )
        )
    return pages


def _registers(records: Frames, scenario: Scenario) -> list[Page]:
    """Return the fleets' lists: a line a unit with the fitting it was listed in, and a sheet of later fittings."""
    unit, fitting = record_named("unit"), record_named("fitting")
    listed = records["unit"].filter(pl.col("register_entry").is_not_null())
    first = records["fitting"].sort("unit", "fitted_from").group_by("unit", maintain_order=True).first()
    first = first.join(listed.select("unit"), on="unit", how="semi")
    unit_columns = [
        Column("Unit", "unit"), Column("Family", "family"), Column("Serial", "serial_number"),
        Column("In service", "in_service_since"), Column("On our list since", "register_entry"),
        Column("Never opened before", "lives_known_from_new"), Column("Entered", "entered"),
    ]  # fmt: skip
    fitting_columns = [
        Column("Fitted", "fitted_from"), Column("Taken out", "fitted_to"), Column("Vehicle", "vehicle"),
        Column("Fleet", "fleet"), Column("Used for", "duty"), Column("Vehicle km at fitting", "odometer", "km"),
        Column("Unit km at fitting", "unit_distance", "km"), Column("Hours at fitting", "hours", "h"),
        Column("Listed", "listed"),
    ]  # fmt: skip
    pages = []
    for fleet in scenario.fleets:
        of_fleet = first.filter(pl.col("fleet") == fleet.name)
        units = of_fleet.select("unit").join(listed, on="unit", how="inner", maintain_order="left")
        left = rows_of(units, unit, unit_columns)
        right = rows_of(of_fleet, fitting, fitting_columns)
        pages.append(
            Page(
                "fleet_registers.xlsx",
                fleet.name,
                [c.heading for c in (*unit_columns, *fitting_columns)],
                [[*a, *b] for a, b in zip(left, right, strict=True)],
                [
                    Reading(unit, tuple(unit_columns)),
                    Reading(fitting, (unit_columns[0], *fitting_columns, unit_columns[-1])),
                ],
                title=(f"Register of {fleet.name}",),
                file_pattern="fleet_registers.xlsx",
                sheet_pattern=fleet.name,
            )
        )
    rest = records["fitting"].join(
        first.select("unit", "fitted_from"), on=["unit", "fitted_from"], how="anti", maintain_order="left"
    )
    pages.append(simple_page("fleet_registers.xlsx", "Refits and owners", fitting, template_columns(fitting), rest))
    return pages


def _sightings(records: Frames, scenario: Scenario) -> list[Page]:
    """Return sightings as JSON: one file a fleet, one for private owners."""
    record = record_named("sighting")
    fleet_of = records["fitting"].select("unit", "fleet").unique(subset="unit", keep="first", maintain_order=True)
    joined = records["sighting"].join(fleet_of, on="unit", how="left", maintain_order="left")
    pages = []
    for fleet in scenario.fleets:
        unit = fleet.sightings_unit
        name = "sightings_" + fleet.name.lower().replace(" ", "_") + ".json"
        columns = [
            Column("unit", "unit"), Column("date", "seen"), Column("miles" if unit == "mi" else "km", "odometer", unit),
            Column("engine_hours", "hours", "h"), Column("state", "state"), Column("why", "source"),
            Column("typed_in", "entered"),
        ]  # fmt: skip
        frame = joined.filter(pl.col("fleet") == fleet.name).select(records["sighting"].columns)
        pages.append(simple_page(name, "sightings", record, columns, frame, dates="iso", file_pattern=name))
    private = joined.filter(pl.col("fleet").is_null()).select(records["sighting"].columns)
    columns = [
        Column("unit.tag", "unit"), Column("seen", "seen"), Column("clock.km", "odometer", "km"),
        Column("clock.hours", "hours", "h"), Column("state", "state"), Column("source", "source"),
        Column("entered", "entered"),
    ]  # fmt: skip
    name = "sightings_owners.json"
    pages.append(simple_page(name, None, record, columns, private, dates="iso", file_pattern=name))
    return pages


def _office(records: Frames) -> list[Page]:
    """Return the office workbook: quotes, waits, outside work and comebacks."""
    pages = []
    for name, sheet in (
        ("quote", "Quotes"),
        ("wait", "Waits"),
        ("outside_work", "Outside work"),
        ("comeback", "Comebacks"),
    ):
        record = record_named(name)
        pages.append(
            simple_page(
                "office.xlsx",
                sheet,
                record,
                template_columns(record),
                records[name],
                title=("Office", "", "kept since the first year", "") if name == "quote" else (),
            )
        )
    return pages


def _between(frame: pl.DataFrame, first: str, last: str) -> pl.DataFrame:
    year = pl.lit("20") + pl.col("job").str.slice(1, 2)
    return frame.filter((year >= first) & (year <= last))


def _bookkeeping(records: Frames) -> list[Page]:
    """Return the bookkeeper's exports; the first two exports of part lines overlap by a year."""
    pages = []
    for number, (first, last) in enumerate(FILES_OF_PART_LINES, 1):
        pages.append(_bookkeeper("part_line", f"buchhaltung_teile_{number}.csv", PART_HEADINGS, PART_WORDS,
                                 _between(records["part_line"], first, last)))  # fmt: skip
    pages.append(
        _bookkeeper("labour", "buchhaltung_stunden.csv", LABOUR_HEADINGS, {"place": PLACE_WORDS}, records["labour"])
    )
    pages.append(
        _bookkeeper(
            "money_line", "buchhaltung_belege.csv", MONEY_HEADINGS, {"money_kind": MONEY_WORDS}, records["money_line"]
        )
    )
    return pages


def _bookkeeper(
    name: str, file: str, headings: dict[str, str], words: dict[str, dict[str, str]], frame: pl.DataFrame
) -> Page:
    units = {"worked": "h", "billed": "h"}
    columns = [Column(heading, field, units.get(field), words.get(field, {})) for field, heading in headings.items()]
    pattern = file if not file[-5].isdigit() else file[:-5] + "*.csv"
    return simple_page(
        file, None, record_named(name), columns, frame, dates=".", decimal=",", options=BOOKKEEPER, file_pattern=pattern
    )


def _gauge_checks(records: Frames) -> Page:
    record = record_named("gauge_check")
    columns = [
        Column("gauge", "instrument"), Column("date", "read_on"), Column("reads", "quantity"),
        Column("master", "expected"),
        Column("shown", "value"), Column("unit", "unit_written"), Column("by", "technician"),
    ]  # fmt: skip
    return simple_page(
        "gauge_checks.jsonl",
        None,
        record,
        columns,
        records["gauge_check"],
        dates="iso",
        file_pattern="gauge_checks.jsonl",
    )


def _price_list(records: Frames) -> Page:
    record = record_named("price_list")
    return simple_page("price_list.parquet", None, record, template_columns(record), records["price_list"])


def _stock(records: Frames) -> Page:
    record = record_named("stock")
    return simple_page("stock.csv", None, record, template_columns(record), records["stock"], dates="iso", decimal=".")
