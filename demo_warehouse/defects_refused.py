"""Plant rows that have to be quarantined, each kind at least once."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta

from demo_warehouse.defects import Planter
from demo_warehouse.pages import Cell, Page, Row

REFUSED = "quarantined"


def _day(cell: Cell) -> date:
    """Return a date cell as a date; raises TypeError for another cell."""
    if not isinstance(cell, date):
        raise TypeError(f"expected a date, found {cell!r}")
    return cell


def plant_refused(planter: Planter, first: int, last: int) -> None:
    """Plant every kind of row to be refused, in the job books of `first` to `last` and in the office's files."""
    years = list(range(first, last + 1))
    old, middle, new = years[1], years[len(years) // 2], years[-2]
    _wrong_readings(planter, old, middle, new)
    _wrong_words(planter, middle, new)
    _typing_errors(planter, old, middle, new)
    _wrong_order(planter, new)
    _empty(planter, old, middle)
    _wrong_shims(planter, old, middle)
    _no_parent(planter, old, middle, new)
    _beyond_meaning(planter, middle, new)
    _one_key_twice(planter, middle)
    _broken_lines(planter)


def _wrong_readings(planter: Planter, old: int, middle: int, new: int) -> None:
    kinds: tuple[tuple[str, int, dict[str, Cell]], ...] = (
        ("wrong unit: a nut torque as preload", middle, {"value": 900, "unit_written": "N.m"}),
        ("wrong unit: torque in millimetres", new, {"unit_written": "mm"}),
        ("unknown unit", old, {"unit_written": "furlong"}),
    )
    for kind, year, changes in kinds:
        page = planter.page("measurement", year)
        row = planter.copied(page, "measurement", planter.a_row(page, _torque_found(page)), **changes)
        planter.note(kind, page, row, "measurement", REFUSED, field="value")


def _torque_found(page: Page) -> Callable[[Row], bool]:
    """Return a test for rows that hold a preload torque as found."""

    def found(row: Row) -> bool:
        quantity, stage = (page.get(row, "measurement", name) for name in ("quantity", "stage"))
        return quantity == "preload_torque" and stage == "as_found"

    return found


def _wrong_words(planter: Planter, middle: int, new: int) -> None:
    page = planter.page("finding", new)
    row = planter.extra_finding(page, damage_mode="gummed up")
    planter.note("unknown word", page, row, "finding", REFUSED, field="damage_mode")
    page = planter.page("job", middle)
    row = planter.extra_job(page, kind="polish")
    planter.note("unknown word", page, row, "job", REFUSED, field="kind")
    row = planter.extra_job(page, oil_changed_recently="perhaps")
    planter.note("unknown word", page, row, "job", REFUSED, field="oil_changed_recently")
    page = planter.page("sighting", file="sightings_owners.json")
    row = planter.copied(page, "sighting", planter.a_row(page), state="asleep")
    planter.note("unknown word", page, row, "sighting", REFUSED, field="state")
    page = planter.page("quote")
    row = planter.copied(page, "quote", planter.a_row(page), quote="Q19-9001", scope="magic")
    planter.note("unknown word", page, row, "quote", REFUSED, field="scope")


def _typing_errors(planter: Planter, old: int, middle: int, new: int) -> None:
    page = planter.page("job", middle)
    row = planter.extra_job(page, opened=f"31/02/{middle}")
    planter.note("typing error in a date", page, row, "job", REFUSED, field="opened")
    page = planter.page("job", new)
    row = planter.extra_job(page, delivered=f"{new}-13-45")
    planter.note("typing error in a date", page, row, "job", REFUSED, field="delivered")
    page = planter.page("labour")
    row = planter.copied(page, "labour", planter.a_row(page), worked_on="00.13.2019")
    planter.note("typing error in a date", page, row, "labour", REFUSED, field="worked_on")
    page = planter.page("part_line", file="buchhaltung_teile_3.csv")
    row = planter.copied(page, "part_line", planter.a_row(page), quantity="1,,5")
    planter.note("typing error in a number", page, row, "part_line", REFUSED, field="quantity")
    page = planter.page("finding", new)
    row = planter.extra_finding(page, ring_gap="O.85")
    planter.note("typing error in a number", page, row, "finding", REFUSED, field="ring_gap")
    page = planter.page("measurement", old)
    row = planter.copied(page, "measurement", planter.a_row(page), value="66.3O")
    planter.note("typing error in a number", page, row, "measurement", REFUSED, field="value")


def _wrong_order(planter: Planter, new: int) -> None:
    page = planter.page("job", new)
    row = planter.extra_job(page)
    opened = _day(page.get(row, "job", "opened"))
    page.put(row, "job", "closed", opened - timedelta(days=20))
    page.put(row, "job", "torn_down", None)
    planter.note("impossible order of dates", page, row, "job", REFUSED, field="closed")
    page = planter.page("part_line", file="buchhaltung_teile_3.csv")
    like = planter.a_row(page, lambda row: page.get(row, "part_line", "received") is not None)
    row = planter.copied(page, "part_line", like, received="01.02.2017")
    planter.note("impossible order of dates", page, row, "part_line", REFUSED, field="received")
    page = planter.page("comeback")
    like = planter.a_row(page)
    reported = _day(page.get(like, "comeback", "reported")) + timedelta(days=1)
    row = planter.copied(page, "comeback", like, reported=reported, settled=reported - timedelta(days=9))
    planter.note("impossible order of dates", page, row, "comeback", REFUSED, field="settled")
    like = planter.a_row(page)
    before = date(2016, 1, 4)
    row = planter.copied(page, "comeback", like, reported=before, settled=None)
    planter.note("comeback before the work was handed over", page, row, "comeback", REFUSED, field="reported")
    like = planter.a_row(page)
    reported = _day(page.get(like, "comeback", "reported")) + timedelta(days=2)
    original = page.get(like, "comeback", "original_job")
    row = planter.copied(page, "comeback", like, reported=reported, settled=None, comeback_job=original)
    planter.note("comeback as itself", page, row, "comeback", REFUSED, field="comeback_job")


def _empty(planter: Planter, old: int, middle: int) -> None:
    page = planter.page("finding", middle)
    row = planter.extra_finding(page, position=None)
    planter.note("required field empty", page, row, "finding", REFUSED, field="position")
    page = planter.page("part_line", file="buchhaltung_teile_1.csv")
    early = planter.a_row(page, lambda row: str(page.get(row, "part_line", "job")) < "J18")
    row = planter.copied(page, "part_line", early, part=None)
    planter.note("required field empty", page, row, "part_line", REFUSED, field="part")
    page = planter.page("measurement", old)
    row = planter.copied(page, "measurement", planter.a_row(page), value=None)
    planter.note("required field empty", page, row, "measurement", REFUSED, field="value")
    page = planter.page("wait")
    row = planter.copied(page, "wait", planter.a_row(page), wait_from=None)
    planter.note("required field empty", page, row, "wait", REFUSED, field="wait_from")


def _wrong_shims(planter: Planter, old: int, middle: int) -> None:
    page = planter.page("shim", middle)
    like = planter.a_row(page, lambda row: page.get(row, "shim", "location") == "left side")
    row = planter.copied(page, "shim", like, thickness=9.5)
    planter.note("shim thicker than its location takes", page, row, "shim", REFUSED, field="thickness")
    like = planter.a_row(page, lambda row: page.get(row, "shim", "location") == "input shaft")
    row = planter.copied(page, "shim", like, thickness=0.5)
    planter.note("one piece thinner than its location takes", page, row, "shim", REFUSED, field="thickness")
    page = planter.page("shim", old, sheet="Setting packs")
    like = planter.a_row(page, lambda row: row[page.at("Left found")] is not None)
    wide: Row = [None] * len(like)
    wide[0], wide[page.at("Left found")] = like[0], 12.4
    planter.put_in(page, wide)
    planter.note("shim thicker than its location takes", page, wide, "shim", REFUSED, field="thickness")


def _no_parent(planter: Planter, old: int, middle: int, new: int) -> None:
    for year in (old, new):
        page = planter.page("finding", year)
        row = planter.extra_finding(page, job=f"J{year % 100}-8888")
        planter.note("finding whose job never arrives", page, row, "finding", REFUSED, field="job")
    page = planter.page("job", new)
    row = planter.extra_job(page, unit="ZZ-00000")
    planter.note("job of an unknown unit", page, row, "job", REFUSED, field="unit")
    page = planter.page("finding", new)
    row = planter.extra_finding(page, position="9th synchroniser ring")
    planter.note("position that the family does not have", page, row, "finding", REFUSED, field="position")
    page = planter.page("measurement", middle)
    like = planter.a_row(page, lambda row: page.get(row, "measurement", "location") is not None)
    row = planter.copied(page, "measurement", like, location="behind the moon")
    planter.note("location that the family does not have", page, row, "measurement", REFUSED, field="location")
    page = planter.page("sighting", file="sightings_owners.json")
    row = planter.copied(page, "sighting", planter.a_row(page), unit="ZZ-00001")
    planter.note("sighting of an unknown unit", page, row, "sighting", REFUSED, field="unit")


def _beyond_meaning(planter: Planter, middle: int, new: int) -> None:
    page = planter.page("finding", new)
    row = planter.extra_finding(page, ring_gap=12)
    planter.note("value beyond what it can mean", page, row, "finding", REFUSED, field="ring_gap")
    page = planter.page("job", middle)
    row = planter.extra_job(page, warranty_months=240)
    planter.note("value beyond what it can mean", page, row, "job", REFUSED, field="warranty_months")
    page = planter.page("labour")
    row = planter.copied(page, "labour", planter.a_row(page), worked="4000")
    planter.note("value beyond what it can mean", page, row, "labour", REFUSED, field="worked")
    page = planter.page("stock")
    row = planter.copied(page, "stock", planter.a_row(page), counted_on="2020-02-29", on_hand="-3")
    planter.note("value beyond what it can mean", page, row, "stock", REFUSED, field="on_hand")


def _one_key_twice(planter: Planter, middle: int) -> None:
    page = planter.page("finding", middle)
    one = planter.extra_finding(page, grade="0", damage_mode=None, role="sound", action="reused")
    other = planter.copied(page, "finding", one, grade="3", role="failed")
    _conflict(planter, page, one, other, "finding")
    page = planter.page("sighting", file="sightings_owners.json")
    first = planter.copied(page, "sighting", planter.a_row(page), seen="2021-02-28", entered="2021-02-28")
    second = planter.copied(page, "sighting", first)
    page.put(first, "sighting", "odometer", 80_000)
    page.put(second, "sighting", "odometer", 90_000)
    _conflict(planter, page, first, second, "sighting")


def _conflict(planter: Planter, page: Page, one: Row, other: Row, record: str) -> None:
    for row, twin in ((one, other), (other, one)):
        planter.note("two rows with one key in one file", page, row, record, REFUSED, twin=(page, twin))


def _broken_lines(planter: Planter) -> None:
    page = planter.page("gauge_check")
    broken: Row = ['{"gauge": "DG-1", "date": "2020-03-0']
    planter.put_in(page, broken)
    planter.note("line that is cut short", page, broken, "gauge_check", REFUSED, field="(row)")
    page = planter.page("money_line")
    row = [*planter.a_row(page), "30", "Nachtrag"]
    planter.put_in(page, row)
    planter.note("line with more cells than headings", page, row, "money_line", REFUSED, field="(row)")
