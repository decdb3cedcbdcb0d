"""Load files into a new version of the warehouse and publish it."""

from __future__ import annotations

import datetime as dt
import json
import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from hashlib import sha256
from pathlib import Path

import duckdb

from ingest.accept import accept, find_originals
from ingest.accounting import (
    DISPOSITIONS,
    begin_row_events,
    count_standing,
    older_rows_changed,
    write_row_events,
)
from ingest.at_once import at_once
from ingest.describe import describe
from ingest.displaced import displaced_notes
from ingest.flags import flag
from ingest.gather import gather, gather_none, has_old, let_go
from ingest.habits import FULL_STRIP_LISTS_ONLY_BAD, add_implied_findings
from ingest.mapping import WorkshopMapping, read_mapping
from ingest.marts import build_marts
from ingest.match_headings import plan_sheets
from ingest.plan import LoadError, SheetPlan
from ingest.read_folder import find_files, read_sources
from ingest.record_model import RecordType
from ingest.records import FIRST_RECORDS, RECORDS, RECORDS_OF_JOBS
from ingest.resolve import resolve, tell_sources
from ingest.settle_style import check_units_known
from ingest.type_rows import type_rows
from ingest.versions import FORMAT, WarehouseFolder, publish, sql_path, sweep, writing

MEMORY_LIMIT = "3GB"
MOST_WRONG_TOLD = 20


@dataclass(frozen=True)
class SourceCount:
    """Count the rows of one sheet read as one record type by what they are now."""

    file: str
    sheet: str | None
    record: str
    read: int
    accepted: int
    duplicate: int
    superseded: int
    quarantined: int


@dataclass(frozen=True)
class LoadReport:
    """Say what a load did: counts per sheet and record type, and the version that stands now.

    `published` is false where nothing new was read (or in a dry run), so that the version before still stands.
    """

    version: int | None
    published: bool
    sources: tuple[SourceCount, ...]
    notes: tuple[str, ...]
    standing: dict[str, int]  # rows ever read, by what they are now
    wrong: tuple[str, ...] = ()  # the first rows of this load to put right, one sentence each

    def to_plain(self) -> dict[str, object]:
        """Return totals, counts per file, and the standing of every row ever read, ready for JSON."""
        files: dict[str, dict[str, object]] = {}
        for source in self.sources:
            entry = files.setdefault(source.file, {"file": source.file, **dict.fromkeys(("read", *DISPOSITIONS), 0)})
            for name in ("read", *DISPOSITIONS):
                entry[name] = int(str(entry[name])) + getattr(source, name)
            sheets = entry.setdefault("sheets", [])
            assert isinstance(sheets, list)
            counts = {name: getattr(source, name) for name in ("read", *DISPOSITIONS)}
            sheets.append({"sheet": source.sheet, "record": source.record, **counts})
        totals = {name: sum(getattr(s, name) for s in self.sources) for name in ("read", *DISPOSITIONS)}
        return {
            "version": self.version,
            "published": self.published,
            "totals": totals,
            "files": list(files.values()),
            "standing": self.standing,
            "notes": list(self.notes),
            "to_put_right": list(self.wrong),
        }


def load(
    folder: Path,
    paths: Sequence[Path],
    mapping_path: Path | None = None,
    *,
    dry_run: bool = False,
    wait_seconds: float = 600.0,
    progress: Callable[[str], None] = lambda _: None,
) -> LoadReport:
    """Read files, decide what every row is, and publish a new version of the warehouse in `folder`.

    Publishes nothing where nothing new was read, unless an older program made the version before; nor in a dry run.
    Raises LoadError with one sentence where a file, sheet, column or mapping cannot be read; then nothing is published and
    nothing lost.
    """
    mapping = read_mapping(mapping_path) if mapping_path else None
    with writing(folder, wait_seconds) as held:
        try:
            return _load_into(held, paths, mapping, dry_run, progress)
        except (duckdb.IOException, duckdb.FatalException, duckdb.OutOfMemoryException) as fault:
            raise LoadError(
                f"'{folder}' cannot be written ({str(fault).splitlines()[0]}); nothing was published"
            ) from fault
        except (RuntimeError, duckdb.InterruptException) as fault:
            if "nterrupt" in str(fault):  # Ctrl-C while the engine works
                raise KeyboardInterrupt from fault
            raise
        except OSError as fault:
            raise LoadError(f"'{fault.filename or folder}': {fault.strerror}; nothing was published") from fault
        finally:
            sweep(held)


def _load_into(
    held: WarehouseFolder,
    paths: Sequence[Path],
    mapping: WorkshopMapping | None,
    dry_run: bool,
    progress: Callable[[str], None],
) -> LoadReport:
    folder, current, number = held.path, held.current, held.next_number()
    building = folder / f"building-{number:06d}.duckdb"
    settings: dict[str, str | bool | int | float | list[str]] = {
        "memory_limit": MEMORY_LIMIT,
        "temp_directory": str(folder / f"scratch-{os.getpid()}.tmp"),
        "checkpoint_threshold": "1TB",  # one checkpoint, at the end: those in between would work over what is let go soon
    }
    connection = duckdb.connect(config=settings)
    try:
        of_this_format = current is None or _attach_old(connection, held.version_file(current)) == FORMAT
        # Without a log of its own: a build that is killed is swept, never recovered.
        connection.execute(f"attach '{sql_path(building)}' as new (recovery_mode no_wal_writes)")
        progress("reading files")
        plans = plan_sheets(read_sources(connection, paths, mapping), mapping)
        if not plans:
            raise LoadError(f"nothing to load in {', '.join(str(p) for p in paths)}: no sheet holds job records")
        load_id = _open_load(connection, plans, mapping)
        connection.execute("set preserve_insertion_order = false")
        progress("checking rows")
        _decide(connection, plans, load_id, held.person_key())
        progress("building the job records")
        _finish(connection, number, load_id)
        report = _report(connection, plans, load_id)
        report = replace(report, notes=(*report.notes, *find_files(paths, mapping).passed_over))
        if dry_run:
            return replace(report, version=current)
        if current is not None and of_this_format and not _anything_new(connection, report, load_id):
            return replace(report, version=current, standing=_standing(connection, "old"))
        connection.execute("checkpoint new")
        connection.execute("detach new")
    finally:
        connection.close()
    progress("publishing")
    publish(held, building, number, f"load {load_id}")
    return replace(report, version=number, published=True)


def _attach_old(connection: duckdb.DuckDBPyConnection, path: Path) -> int:
    """Attach the published version as `old` and return its format.

    Rows of an older format are taken over like any others, since all that is made from them is made anew.
    """
    connection.execute(f"attach '{sql_path(path)}' as old (read_only)")
    made = connection.execute("select format from old.warehouse_format").fetchall()[0][0]
    if made > FORMAT:
        raise LoadError(
            f"the job records were made by a newer Layshaft (format {made}; this one writes {FORMAT}): "
            "update this installation"
        )
    return int(made)


def _open_load(connection: duckdb.DuckDBPyConnection, plans: list[SheetPlan], mapping: WorkshopMapping | None) -> int:
    """Create `load` and `source` (all loads and sources ever, this one included) and return this load's number."""
    if has_old(connection):
        connection.execute(
            "create table load as select * from old.load; create table source as select * from old.source"
        )
    else:
        connection.execute("""
            create table load (load_id integer, loaded_at timestamp, mapping_version varchar);
            create table source (source_id integer, load_id integer, file_id integer, file varchar, sheet varchar,
              record varchar, content_digest varchar, plan_digest varchar, habit boolean, rows_read bigint,
              replaced boolean, known_content boolean, style varchar);
        """)
    first = connection.execute(
        "select coalesce(max(load_id), 0), coalesce(max(source_id), 0), coalesce(max(file_id), 0) "
        "from load left join source using (load_id)"
    ).fetchall()[0]
    load_id, next_source, next_file = first[0] + 1, first[1] + 1, first[2] + 1
    version = str(mapping.version) if mapping is not None and mapping.version is not None else None
    connection.execute(
        "insert into load values ($1, $2, $3)", [load_id, dt.datetime.now().replace(microsecond=0), version]
    )
    files: dict[Path, int] = {}
    for offset, plan in enumerate(plans):
        file_id = files.setdefault(plan.table.file, next_file + len(files))
        connection.execute(
            "insert into source values ($1, $2, $3, $4, $5, $6, $7, $8, $9, null, false, false, null)",
            [
                next_source + offset, load_id, file_id, str(plan.table.file), plan.table.sheet, plan.record.name,
                plan.table.content_digest, _plan_digest(plan), FULL_STRIP_LISTS_ONLY_BAD in plan.habits,
            ],
        )  # fmt: skip
    connection.execute(f"""
        -- The same content read under other plans: the new reading supersedes the old one.
        update source as s set replaced = true
        where s.load_id < {load_id} and exists (
          select 1 from source as n where n.load_id = {load_id} and n.content_digest = s.content_digest)
          and not exists (
          select 1 from source as n where n.load_id = {load_id} and n.content_digest = s.content_digest
            and n.record = s.record and n.plan_digest = s.plan_digest)
    """)
    tell_sources(connection)
    return int(load_id)


def _plan_digest(plan: SheetPlan) -> str:
    columns = [
        [c.field.name, c.source, c.fixed, c.unit, c.decimal, c.date_order, sorted(c.words.items())]
        for c in plan.columns
    ]
    text = json.dumps([plan.record.name, columns, list(plan.needs), sorted(plan.habits), plan.corrects], default=str)
    return sha256(text.encode()).hexdigest()


def _decide(connection: duckdb.DuckDBPyConnection, plans: list[SheetPlan], load_id: int, person_key: str) -> None:
    """Type the planned sheets and decide their rows, record type after record type, letting go of what was read."""
    ids = [row[0] for row in connection.execute(
        f"select source_id from source where load_id = {load_id} order by source_id"
    ).fetchall()]  # fmt: skip
    sheets = list(zip(ids, plans, strict=True))
    ever_read = {name for (name,) in connection.execute("select distinct record from source").fetchall()}
    begin_row_events(connection)

    def decide(record: RecordType, on: duckdb.DuckDBPyConnection) -> RecordType:
        if record.name in ever_read:
            here = {source_id: plan for source_id, plan in sheets if plan.record is record}
            _decide_record(on, record, here, load_id, person_key)
        else:
            gather_none(on, record)
        return record

    def in_order() -> Iterator[RecordType]:
        for record in FIRST_RECORDS:
            yield decide(record, connection)
        yield from at_once(connection, [partial(decide, record) for record in RECORDS_OF_JOBS])

    waiting = plans
    for record in in_order():
        here = {plan.table.raw_table for plan in waiting if plan.record is record}
        waiting = [plan for plan in waiting if plan.record is not record]
        for name in here - {plan.table.raw_table for plan in waiting}:
            _drop_raw_table(connection, name)
    add_implied_findings(connection)


def _drop_raw_table(connection: duckdb.DuckDBPyConnection, name: str) -> None:
    """Free a sheet's text; a large file's text is a view that numbers the lines of a table beside it."""
    views = connection.execute(f"select count(*) from duckdb_views() where view_name = '{name}'").fetchall()[0][0]
    connection.execute(f"drop {'view' if views else 'table'} {name}; drop table if exists {name}_cells")


def _decide_record(
    connection: duckdb.DuckDBPyConnection,
    record: RecordType,
    plans: dict[int, SheetPlan],
    load_id: int,
    person_key: str,
) -> None:
    typed = []
    for source_id, plan in plans.items():
        check_units_known(plan)
        typed.append(type_rows(connection, plan, source_id, person_key))
        connection.execute("update source set style = $1 where source_id = $2", [typed[-1].style, source_id])
    rows = gather(connection, record, typed)
    if plans:
        connection.execute(f"""
            update source as s set rows_read = coalesce(n.rows, 0)
            from (select source_id, count(k.source_id) as rows from source
                  left join rows_{record.name} as k using (source_id) where load_id = {load_id} group by source_id) as n
            where n.source_id = s.source_id and s.load_id = {load_id} and s.record = '{record.name}'
        """)
    verdicts = resolve(connection, record, rows)
    find_originals(connection, record, {i: (plan.table.raw_table, plan.table.headings) for i, plan in plans.items()})
    accept(connection, record, verdicts)
    if rows:
        write_row_events(connection, record, load_id)
    let_go(connection, record)


def _finish(connection: duckdb.DuckDBPyConnection, number: int, load_id: int) -> None:
    """Build marts, flags and the tables that describe the warehouse itself."""
    build_marts(connection)
    flag(connection)
    connection.execute("create table new.load as select * from load; create table new.source as select * from source")
    describe(connection, FORMAT, number, load_id)
    count_standing(connection)


def _report(connection: duckdb.DuckDBPyConnection, plans: list[SheetPlan], load_id: int) -> LoadReport:
    rows = connection.execute(
        "select file, sheet, record, read, accepted, duplicate, superseded, quarantined from new.standing "
        f"where load_id = {load_id} order by source_id"
    ).fetchall()
    notes = [
        f"{plan.table.place}: not read: {', '.join(plan.unused_headings)}" for plan in plans if plan.unused_headings
    ]
    return LoadReport(
        None,
        False,
        tuple(SourceCount(*row) for row in rows),
        (*notes, *displaced_notes(connection, load_id)),
        _standing(connection, "new"),
        _first_wrong(connection, load_id),
    )


def _first_wrong(connection: duckdb.DuckDBPyConnection, load_id: int) -> tuple[str, ...]:
    """Return the first rows of this load to put right, each with its place and reason."""
    parts = " union all ".join(
        f"select '{r.name}' as record, source_id, row_number, reason from new.held_{r.name} "
        "where disposition = 'quarantined'"
        for r in RECORDS
    )
    rows = connection.execute(f"""
        select s.file, s.sheet, h.row_number, h.record, h.reason from ({parts}) as h join source as s using (source_id)
        where s.load_id = {load_id} order by s.source_id, h.row_number limit {MOST_WRONG_TOLD}
    """).fetchall()
    return tuple(
        f"{Path(file).name}{f', sheet {sheet!r}' if sheet else ''}, row {number} ({record.replace('_', ' ')}): {reason}"
        for file, sheet, number, record, reason in rows
    )


def _standing(connection: duckdb.DuckDBPyConnection, schema: str) -> dict[str, int]:
    names = ("read", *DISPOSITIONS)
    sums = ", ".join(f"coalesce(sum({name}), 0)::bigint" for name in names)
    return dict(zip(names, connection.execute(f"select {sums} from {schema}.standing").fetchall()[0], strict=True))


def _anything_new(connection: duckdb.DuckDBPyConnection, report: LoadReport, load_id: int) -> bool:
    """Return whether the load brought more than repetitions, or made older rows something else than they were."""
    brought = any(s.accepted or s.superseded or s.quarantined for s in report.sources)
    return brought or older_rows_changed(connection, load_id)
