"""Plant rows that are kept but deserve a second look, and rows that repeat or correct others."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import pairwise

import polars as pl

from demo_warehouse.defects import Planter
from demo_warehouse.pages import Cell, Page, Row, template_columns
from ingest.records import record_named

LATE_FILE = "jobs_handed_in_late.xlsx"
CORRECTIONS_FILE = "corrections.xlsx"


def plant_kept(planter: Planter, first: int, last: int) -> None:
    """Plant what is accepted and flagged, what is repeated, what is corrected later and what comes late."""
    years = list(range(first, last + 1))
    _falling_odometer(planter, years[-3])
    _pack_differs(planter, years[-2])
    _target_differs(planter, years[-2])
    _spacer_among_shims(planter, years[-3])
    _near_equal_tags(planter)
    _unknown_part(planter)
    for before, after in pairwise(years):
        _repeated_jobs(planter, before, after)
    _repeated_row(planter, years[-4])
    _overlapping_exports(planter)
    _corrections(planter, years)
    _late_jobs(planter, years[-2])


def _falling_odometer(planter: Planter, year: int) -> None:
    """Let one clock read lower than at the unit's visit before, in the same vehicle."""
    page = planter.page("job", year)
    jobs = planter.records["job"].sort("unit", "opened")
    once = planter.records["fitting"].group_by("unit").len().filter(pl.col("len") == 1)["unit"]
    earlier = jobs.with_columns(pl.col("odometer_m").shift(1).over("unit").alias("before")).filter(
        (pl.col("before") > 60_000_000) & (pl.col("usage_basis") == "read") & pl.col("unit").is_in(once.implode())
    )
    known = dict(earlier.select("job", "before").iter_rows())
    row = planter.a_row(page, lambda row: page.get(row, "job", "job") in known)
    job = page.get(row, "job", "job")
    page.put(row, "job", "odometer", known[str(job)] // 1000 - 40_000)
    planter.note("odometer that falls", page, row, "job", "accepted", field="odometer", flag="falling_odometer",
                 added=False, note=str(job))  # fmt: skip


def _pack_differs(planter: Planter, year: int) -> None:
    page = planter.page("measurement", year)
    row = planter.a_row(page, lambda r: page.get(r, "measurement", "quantity") == "pack_thickness"
                        and page.get(r, "measurement", "unit_written") == "mm")  # fmt: skip
    value = page.get(row, "measurement", "value")
    assert isinstance(value, int | float)
    page.put(row, "measurement", "value", round(value + 0.15, 3))
    planter.note("pack that differs from its measured stack", page, row, "measurement", "accepted", field="value",
                 flag="pack_differs", added=False, note=str(page.get(row, "measurement", "job")))  # fmt: skip


def _target_differs(planter: Planter, year: int) -> None:
    """Let a target be worked out with the marking's sign the wrong way round, on a job that changed the gear set."""
    page = planter.page("measurement", year)
    jobs = planter.records["job"].filter(pl.col("gear_set_found") != pl.col("gear_set_built"))
    sets = dict(planter.records["gear_set"].select("set_number", "marked_depth_um").iter_rows())
    changed = {job: sets[built] for job, built in jobs.select("job", "gear_set_built").iter_rows()}
    row = planter.a_row(
        page,
        lambda r: (
            page.get(r, "measurement", "quantity") == "pinion_depth"
            and page.get(r, "measurement", "unit_written") == "mm"
            and page.get(r, "measurement", "stage") == "as_built"
            and abs(changed.get(str(page.get(r, "measurement", "job")), 0) or 0) >= 50
        ),
    )
    target = page.get(row, "measurement", "target")
    assert isinstance(target, int | float)
    page.put(row, "measurement", "target", round(target + 0.1, 3))
    planter.note("target that is not constant and marking", page, row, "measurement", "accepted", field="target",
                 flag="target_not_marking", added=False, note=str(page.get(row, "measurement", "job")))  # fmt: skip


def _spacer_among_shims(planter: Planter, year: int) -> None:
    page = planter.page("shim", year, sheet="Shims")
    like = planter.a_row(
        page,
        lambda r: (
            page.get(r, "shim", "location") == "left side"
            and page.get(r, "shim", "stage") == "as_found"
            and float(str(page.get(r, "shim", "thickness"))) < 0.4
        ),
    )
    row = planter.copied(page, "shim", like, thickness=2.5, pieces=1, part=None)
    planter.note("graded spacer among shims", page, row, "shim", "accepted", field="thickness",
                 flag="spacer_among_shims", note=str(page.get(row, "shim", "job")))  # fmt: skip


def _near_equal_tags(planter: Planter) -> None:
    page = next(p for p in planter.pages if p.file == "fleet_registers.xlsx" and p.readings[0].record.name == "unit")
    like = planter.a_row(page, lambda r: str(page.get(r, "unit", "unit")).count("-0") == 1)
    tag = str(page.get(like, "unit", "unit"))
    row = list(like)
    page.put(row, "unit", "unit", tag.replace("-0", "-O", 1))
    planter.put_in(page, row)
    for record in ("unit", "fitting"):
        planter.note("tags that are nearly the same", page, row, record, "accepted", field="unit", note=tag,
                     flag="near_equal_tags" if record == "unit" else None)  # fmt: skip


def _unknown_part(planter: Planter) -> None:
    page = planter.page("part_line", file="buchhaltung_teile_3.csv")
    row = planter.copied(page, "part_line", planter.a_row(page), part="QQ-NO-SUCH")
    planter.note(
        "part number that is on no list", page, row, "part_line", "accepted", field="part", flag="unknown_name"
    )


def _repeated_jobs(planter: Planter, before: int, after: int) -> None:
    """Copy a few of December's jobs into the next year's book, where both books have the same headings."""
    old, new = planter.page("job", before), planter.page("job", after)
    if old.headings != new.headings:
        return
    needs = old.readings[1].needs[0]
    late = [r for r in old.rows if r[old.at(needs)] is None and id(r) not in planter.touched]
    for row in late[-2:]:
        planter.touched.add(id(row))
        again = planter.put_in(new, list(row))
        planter.note("row copied into the next year's book", new, again, "job", "duplicate", twin=(old, row))


def _repeated_row(planter: Planter, year: int) -> None:
    page = planter.page("finding", year)
    row = planter.a_row(page)
    again = planter.put_in(page, list(row))
    planter.note("row that stands twice", page, again, "finding", "duplicate", twin=(page, row))


def _overlapping_exports(planter: Planter) -> None:
    """Note the lines that stand in two exports of the bookkeeper."""
    first = planter.page("part_line", file="buchhaltung_teile_1.csv")
    second = planter.page("part_line", file="buchhaltung_teile_2.csv")
    waiting: dict[tuple[object, ...], list[Row]] = {}
    for row in second.rows:
        waiting.setdefault(tuple(row), []).append(row)
    for row in first.rows:
        twins = waiting.get(tuple(row))
        if twins and id(row) not in planter.touched:
            planter.note("overlapping exports", first, row, "part_line", "duplicate", twin=(second, twins.pop()))


def _corrections(planter: Planter, years: list[int]) -> None:
    """Spoil a few rows and let a later file hold them as they should be, entered on a later day."""
    jobs = [planter.page("job", year) for year in (years[2], years[4], years[-2])]
    corrected = [_spoil(planter, page, "job", "invoiced", 99_999) for page in jobs]
    _later(planter, "job", "Jobs", "job", corrected)
    findings = [planter.page("finding", year) for year in (years[1], years[5], years[-2])]
    spoiled = [_spoil(planter, page, "finding", "action", "reworked") for page in findings]
    _later(planter, "finding", "Findings", ("job", "position"), spoiled)
    quotes = planter.page("quote")
    spoiled = [_spoil(planter, quotes, "quote", "price", 1) for _ in range(2)]
    _later(planter, "quote", "Quotes", "quote", spoiled)
    sightings = planter.page("sighting", file="sightings_pinecrest_timber.json")
    spoiled = [_spoil(planter, sightings, "sighting", "odometer", 7)]
    _later(planter, "sighting", "Sightings", ("unit", "seen", "source"), spoiled)


def _spoil(planter: Planter, page: Page, record: str, name: str, wrong: Cell) -> tuple[object, ...]:
    """Put a wrong value into one row and return the row's key."""
    limit = planter.end - timedelta(days=90)
    row = planter.a_row(
        page,
        lambda r: page.get(r, record, name) not in (None, wrong) and _before(page.get(r, record, "entered"), limit),
    )
    key = tuple(page.get(row, record, field) for field in record_named(record).key)
    page.put(row, record, name, wrong)
    planter.note("row that a later file corrects", page, row, record, "superseded", field=name, added=False)
    return key


def _before(cell: Cell, limit: date) -> bool:
    """Return whether a cell that holds a day lies before `limit`; days written day first are of earlier years."""
    if isinstance(cell, date):
        return cell < limit
    return isinstance(cell, str) and (cell[4:5] != "-" or cell < limit.isoformat())


def _later(
    planter: Planter, name: str, sheet: str, key: str | tuple[str, ...], spoiled: list[tuple[object, ...]]
) -> None:
    """Write the right rows, entered on a later day."""
    record = record_named(name)
    names = [key] if isinstance(key, str) else list(key)
    wanted = {tuple(str(part) for part in one) for one in spoiled}
    frame = planter.records[name]
    right = frame.filter(pl.Series([tuple(str(p) for p in row) in wanted for row in frame.select(names).iter_rows()]))
    right = right.with_columns((pl.col("entered") + pl.duration(days=45)).alias("entered"))
    if right.height != len(spoiled):
        raise LookupError(f"{len(spoiled)} rows of {name} were spoiled, but {right.height} corrected")
    planter.new_page(CORRECTIONS_FILE, sheet, record, template_columns(record), right)


def _late_jobs(planter: Planter, year: int) -> None:
    """Take two jobs out of their year's book; they come in a later file, after their findings."""
    page = planter.page("job", year)
    needs = page.readings[1].needs[0]
    rows = [planter.a_row(page, lambda r: r[page.at(needs)] is None) for _ in range(2)]
    numbers = [page.get(row, "job", "job") for row in rows]
    page.rows[:] = [row for row in page.rows if not any(row is gone for gone in rows)]
    record = record_named("job")
    frame = planter.records["job"].filter(pl.col("job").is_in([str(n) for n in numbers]))
    late = planter.new_page(LATE_FILE, "Jobs", record, template_columns(record), frame)
    for row in late.rows:
        planter.note("job that arrives in a later file", late, row, "job", "accepted", added=False)
