"""Plant rows that are wrong on purpose, each kind at least once, and note where each stands and what becomes of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import numpy as np
import polars as pl

from demo_warehouse.pages import Cell, Page, Row, simple_page

Frames = dict[str, pl.DataFrame]


@dataclass(frozen=True)
class Defect:
    """Hold one planted row: its kind, where it stands, and what the loader has to make of it.

    `expected` is accepted, duplicate, superseded or quarantined; `flag` names the flag of a row that is kept;
    `field` is the field that the reason names; `twin` is the row of which this one is a repetition or a conflict.
    """

    kind: str
    page: Page
    row: Row
    record: str
    expected: str
    field: str | None = None
    flag: str | None = None
    added: bool = True  # not one of the workshop's own rows
    note: str | None = None
    twin: tuple[Page, Row] | None = None

    def plain(self) -> dict[str, Any]:
        """Return the defect with its place as file, sheet and row number."""
        told: dict[str, Any] = {
            "kind": self.kind,
            "file": self.page.file,
            "sheet": self.page.sheet,
            "row": self.page.row_number(self.row),
            "record": self.record,
            "expected": self.expected,
            "field": self.field,
            "flag": self.flag,
            "added": self.added,
            "note": self.note,
        }
        if self.twin is not None:
            page, row = self.twin
            told["twin"] = {"file": page.file, "sheet": page.sheet, "row": page.row_number(row)}
        return told


@dataclass
class Planter:
    """Hold the pages while defects are planted in them."""

    pages: list[Page]
    records: Frames
    end: date
    rng: np.random.Generator
    defects: list[Defect] = field(default_factory=list)
    touched: set[int] = field(default_factory=set)
    _extra_jobs: int = 0

    def page(self, record: str, year: int | None = None, file: str | None = None, sheet: str | None = None) -> Page:
        """Return the page of a record type, of a year's job book or of a named file and sheet."""
        for page in self.pages:
            if year is not None and page.file != f"jobs_{year}.xlsx":
                continue
            if (file is not None and page.file != file) or (sheet is not None and page.sheet != sheet):
                continue
            if page.rows and page.readings[0].record.name == record:
                return page
        raise LookupError(f"the demo has no page with {record} rows for {year or file or 'any year'}")

    def a_row(self, page: Page, wanted: Callable[[Row], bool] = lambda _: True) -> Row:
        """Return one row of a page that no defect has touched yet, drawn at random among those wanted."""
        free = [row for row in page.rows if id(row) not in self.touched and wanted(row)]
        if not free:
            raise LookupError(f"no row of {page.file}, {page.sheet} is fit for the defect")
        row = free[int(self.rng.integers(0, len(free)))]
        self.touched.add(id(row))
        return row

    def put_in(self, page: Page, row: Row) -> Row:
        """Put a row in at a random place of a page."""
        page.rows.insert(int(self.rng.integers(0, len(page.rows) + 1)), row)
        self.touched.add(id(row))
        return row

    def copied(self, page: Page, record: str, like: Row, **changes: Cell) -> Row:
        """Put in a copy of a row with some fields changed; what the row carries of other records is left blank."""
        row = list(like)
        for reading in page.readings:
            if reading.record.name != record:
                for heading in reading.needs:
                    row[page.at(heading)] = None
        for name, value in changes.items():
            page.put(row, record, name, value)
        return self.put_in(page, row)

    def extra_job(self, page: Page, **changes: Cell) -> Row:
        """Put in a job with a number of its own, like a real one but with some fields changed."""
        self._extra_jobs += 1
        like = self.a_row(page, lambda row: page.get(row, "job", "closed") is not None)
        number = f"J{page.file[-7:-5]}-9{self._extra_jobs:03d}"
        return self.copied(page, "job", like, job=number, **changes)

    def extra_finding(self, page: Page, **changes: Cell) -> Row:
        """Put in a finding at a position that its job did not list."""
        listed = {(page.get(row, "finding", "job"), page.get(row, "finding", "position")) for row in page.rows}
        kind = dict(self.records["job"].select("job", "kind").iter_rows())
        family = self._family_of_job()

        def is_free(row: Row) -> bool:
            job = page.get(row, "finding", "job")
            return kind[job] in ("part_rebuild", "reseal") and len(self._free_places(family[job], job, listed)) > 0

        like = self.a_row(page, is_free)
        job = page.get(like, "finding", "job")
        place = self._free_places(family[job], job, listed)[0]
        self.touched.discard(id(like))
        return self.copied(page, "finding", like, **({"position": place} | changes))

    def _family_of_job(self) -> dict[Cell, str]:
        units = self.records["unit"].select("unit", "family")
        return dict(self.records["job"].join(units, on="unit").select("job", "family").iter_rows())

    def _free_places(self, family: str, job: Cell, listed: set[tuple[Cell, Cell]]) -> list[str]:
        places = self.records["position"].filter(pl.col("family") == family)["position"].to_list()
        return [place for place in places if (job, place) not in listed]

    def note(self, kind: str, page: Page, row: Row, record: str, expected: str, **more: Any) -> None:
        """Note a planted row."""
        self.defects.append(Defect(kind, page, row, record, expected, **more))

    def new_page(self, file: str, sheet: str, record: Any, columns: Any, frame: pl.DataFrame) -> Page:
        """Add a page for rows that come later."""
        page = simple_page(file, sheet, record, columns, frame)
        self.pages.append(page)
        return page
