"""Lay the jobs and what belongs to them out in one workbook a year, as they were kept in that year."""

from __future__ import annotations

import polars as pl

from demo_warehouse.layouts import (
    FINDING_HEADINGS,
    MAPPED_WORDS,
    READING_HEADINGS,
    SHIM_HEADINGS,
    Era,
    era_of,
    job_columns,
    named_columns,
)
from demo_warehouse.pages import Column, Page, Reading, Row, rows_of, simple_page, template_columns
from ingest.records import record_named

Frames = dict[str, pl.DataFrame]
WIDE = {  # location -> headings of the pack found and built, while packs stood as totals on the setting sheet
    "left side": ("Left found", "Left built"),
    "right side": ("Right found", "Right built"),
    "layshaft end": ("Layshaft found", "Layshaft built"),
}
INCH_FAMILY = "A9 site"
UNIT_FIELDS = ("unit", "family", "serial_number", "in_service_since", "lives_known_from_new", "entered")


def job_book_pages(records: Frames) -> list[Page]:
    """Return the pages of every year's job book."""
    pages = []
    jobs = records["job"].with_columns(pl.col("opened").dt.year().alias("_year"))
    register = records["unit"].filter(pl.col("register_entry").is_null())
    first = jobs.sort("opened", "job").group_by("unit", maintain_order=True).first().select("job", "unit")
    carried = register.join(first, on="unit", how="inner", maintain_order="left")
    family = jobs.join(records["unit"].select("unit", "family"), on="unit", how="left").select("job", "family")
    for year in sorted(jobs["_year"].unique().to_list()):
        era = era_of(year)
        of_year = jobs.filter(pl.col("_year") == year).drop("_year")
        names = of_year.select("job")
        lines = {name: _of_jobs(frame, names) for name, frame in records.items() if "job" in frame.columns}
        pages.append(_job_page(year, era, of_year, carried))
        pages.append(_other(year, era, "complaint", "Complaints", lines["complaint"]))
        pages.append(_findings_page(year, era, lines["finding"], of_year))
        pages += _shim_pages(year, era, lines["shim"], family)
        pages.append(_readings_page(year, era, lines["measurement"]))
        pages.append(_other(year, era, "contact_pattern", "Patterns", lines["contact_pattern"]))
        pages.append(_other(year, era, "road_test", "Road tests", lines["road_test"]))
    return [page for page in pages if page.rows]


def _of_jobs(frame: pl.DataFrame, names: pl.DataFrame) -> pl.DataFrame:
    return frame.join(names, on="job", how="semi", maintain_order="left")


def _file(year: int) -> str:
    return f"jobs_{year}.xlsx"


def _job_page(year: int, era: Era, jobs: pl.DataFrame, carried: pl.DataFrame) -> Page:
    """Return the sheet of a year's jobs, which carries a unit's family where the unit is new here."""
    record, unit_record = record_named("job"), record_named("unit")
    columns = job_columns(era)
    rows = rows_of(jobs, record, columns, era.dates)
    units = jobs.select("job").join(carried, on="job", how="left", maintain_order="left")
    extra = rows_of(units, unit_record, era.unit_columns, era.dates)
    headings = {c.field: c.heading for c in columns}
    unit_reading = Reading(
        unit_record,
        (Column(headings["unit"], "unit"), *era.unit_columns, Column(headings["entered"], "entered")),
        needs=(era.unit_columns[0].heading,),
    )
    mapped = tuple(
        Column(c.heading, c.field, c.unit, {o: t for o, t in c.words.items() if t in MAPPED_WORDS.get(c.field, ())})
        for c in columns
    )
    return Page(
        file=_file(year),
        sheet=f"Jobs {year}",
        headings=[*(c.heading for c in columns), *(c.heading for c in era.unit_columns)],
        rows=[[*row, *more] for row, more in zip(rows, extra, strict=True)],
        readings=[Reading(record, mapped), unit_reading],
        title=era.title,
        dates=era.dates,
        file_pattern=era.file_pattern,
        sheet_pattern="Jobs *",
        options={"date_order": "day"} if era.dates != "cell" else {},
    )


def _page(
    year: int, era: Era, name: str, sheet: str, columns: list[Column], frame: pl.DataFrame, **more: object
) -> Page:
    options = {"date_order": "day"} if era.dates != "cell" else {}
    return simple_page(
        _file(year), sheet, record_named(name), columns, frame, dates=era.dates, options=options,
        file_pattern=more.pop("file_pattern", era.file_pattern), sheet_pattern=sheet, **more,
    )  # fmt: skip


def _other(year: int, era: Era, name: str, sheet: str, frame: pl.DataFrame) -> Page:
    return _page(year, era, name, sheet, template_columns(record_named(name)), frame)


def _findings_page(year: int, era: Era, findings: pl.DataFrame, jobs: pl.DataFrame) -> Page:
    """Return the sheet of findings; in some years full rebuilds list only what was bad or was worked on."""
    columns = named_columns(
        FINDING_HEADINGS["new" if not era.job_words else "old"], {"ring_gap": "mm", "end_float": "mm"}
    )
    if year not in era.findings_list_only_bad:
        return _page(year, era, "finding", "Findings", columns, findings)
    full = jobs.filter((pl.col("kind") == "full_rebuild") & pl.col("closed").is_not_null()).select("job")
    sound = findings.filter((pl.col("role") == "sound") & (pl.col("action") == "reused"))
    left_out = sound.join(full, on="job", how="semi").select("job", "position")
    listed = findings.join(left_out, on=["job", "position"], how="anti", maintain_order="left")
    years = "".join(str(y)[-1] for y in era.findings_list_only_bad)
    pattern = f"jobs_20[12][{years}].xlsx"
    return _page(
        year, era, "finding", "Bad parts", columns, listed, habits=("full_strip_lists_only_bad",), file_pattern=pattern
    )


def _readings_page(year: int, era: Era, readings: pl.DataFrame) -> Page:
    record = record_named("measurement")
    columns = named_columns(READING_HEADINGS["old"]) if era.job_words else template_columns(record)
    return _page(year, era, "measurement", "Readings", columns, readings)


def _shim_pages(year: int, era: Era, shims: pl.DataFrame, family: pl.DataFrame) -> list[Page]:
    """Return the shim sheets: millimetres, inches for one family, and in early years wide totals for some packs."""
    record = record_named("shim")
    inch = family.filter(pl.col("family") == INCH_FAMILY).select("job")
    in_inches = shims.join(inch, on="job", how="semi", maintain_order="left")
    in_mm = shims.join(inch, on="job", how="anti", maintain_order="left")
    pages = []
    if year in era.wide_shims:
        wide = pl.col("location").is_in(list(WIDE)) & (pl.col("stage") != "trial")
        pages.append(_wide_page(year, era, in_mm.filter(wide)))
        in_mm = in_mm.filter(~wide)
    old = bool(era.job_words)
    for sheet, frame, unit in (("Shims", in_mm, "mm"), ("Shims inch", in_inches, "in")):
        if old:
            headings = SHIM_HEADINGS["old"] | {"thickness": f"Thickness {unit}"}
            columns = named_columns(headings, {"thickness": unit})
        else:
            columns = [
                Column(c.heading if c.field != "thickness" else f"thickness ({unit})", c.field,
                       unit if c.field == "thickness" else None)
                for c in template_columns(record)
            ]  # fmt: skip
        pages.append(_page(year, era, "shim", sheet, columns, frame))
    return pages


def wide_totals(shims: pl.DataFrame) -> pl.DataFrame:
    """Return one row per job, location and stage with the pack's total: job, location, stage, total_um."""
    return (
        shims.group_by("job", "location", "stage", maintain_order=True)
        .agg((pl.col("thickness_um") * pl.col("pieces")).sum().alias("total_um"))
        .sort("job", "location", "stage")
    )


def _wide_page(year: int, era: Era, shims: pl.DataFrame) -> Page:
    """Return the setting sheet: a row a job, a column a pack, thousandths of a millimetre."""
    record = record_named("shim")
    totals = {(j, place, stage): total for j, place, stage, total in wide_totals(shims).iter_rows()}
    headings = ["Job No.", *(heading for pair in WIDE.values() for heading in pair)]
    rows: list[Row] = []
    for job in sorted({key[0] for key in totals}):
        row: Row = [job]
        for place in WIDE:
            row += [_millimetres(totals.get((job, place, stage))) for stage in ("as_found", "as_built")]
        rows.append(row)
    readings = [
        Reading(
            record,
            (Column("Job No.", "job"), Column(heading, "thickness", "mm")),
            needs=(heading,),
            fixed={"location": place, "stage": stage, "thickness_basis": "measured"},
        )
        for place, pair in WIDE.items()
        for heading, stage in zip(pair, ("as_found", "as_built"), strict=True)
    ]
    return Page(
        _file(year),
        "Setting packs",
        headings,
        rows,
        readings,
        title=("Packs in mm, found and built",),
        dates=era.dates,
        file_pattern=era.file_pattern,
        sheet_pattern="Setting packs",
    )


def _millimetres(total: int | None) -> float | None:
    return None if total is None else total / 1000
