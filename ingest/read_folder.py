"""Find the files that were named, or that lie in a folder, and read each into raw tables."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import duckdb

from ingest.heading_text import fold_heading, known_headings
from ingest.mapping import ReadingOptions, WorkshopMapping
from ingest.plan import LoadError, SourceTable
from ingest.read_json import JSON_SUFFIXES, read_json
from ingest.read_parquet import PARQUET_SUFFIXES, read_parquet
from ingest.read_text_table import TEXT_SUFFIXES, TextLook, look_at_text, read_text_table
from ingest.read_workbook import WORKBOOK_SUFFIXES, read_workbook
from ingest.records import RECORDS

READABLE = (*TEXT_SUFFIXES, *WORKBOOK_SUFFIXES, *JSON_SUFFIXES, *PARQUET_SUFFIXES)
_SAVE_AS_XLSX = (".xls", ".xlsb", ".ods")


@dataclass(frozen=True)
class FoundFiles:
    """Hold the files to read, and the sentences that name what was passed over in a folder and why."""

    files: tuple[Path, ...]
    passed_over: tuple[str, ...]


def find_files(paths: Sequence[Path], mapping: WorkshopMapping | None = None) -> FoundFiles:
    """Return the files to read, in the order given and by name within a folder, each once.

    Raises LoadError where a path does not exist, is of no kind that can be read, or a folder holds nothing to read.
    """
    files: dict[Path, Path] = {}
    passed_over: list[str] = []
    for path in paths:
        if path.is_dir():
            inside = [one for one in sorted(path.rglob("*")) if one.is_file()]
            readable = [one for one in inside if _why_passed_over(one, mapping) is None]
            passed_over += [f"{one.name}: {why}" for one in inside if (why := _why_passed_over(one, mapping))]
            if not readable:
                found = f"{len(inside)} other file{'' if len(inside) == 1 else 's'}" if inside else "nothing"
                raise LoadError(f"{path}: expected files that end in {', '.join(READABLE)}, found {found}")
        elif path.exists():
            if path.suffix.lower() not in READABLE:
                raise LoadError(f"{path.name}: {_unreadable(path)}")
            readable = [path]
        else:
            raise LoadError(f"{path}: no such file or folder")
        files |= {one.resolve(): one for one in readable if one.resolve() not in files}
    return FoundFiles(tuple(files.values()), tuple(passed_over))


def _why_passed_over(path: Path, mapping: WorkshopMapping | None) -> str | None:
    if path.name.startswith(("~$", ".")):
        return "passed over, a hidden file or the mark of an open one"
    if path.suffix.lower() not in READABLE:
        return f"passed over, {_unreadable(path)}"
    if mapping is not None and mapping.ignores(path, None):
        return "left out by the mapping"
    return None


def _unreadable(path: Path) -> str:
    if path.suffix.lower() in _SAVE_AS_XLSX:
        return "a workbook of another format; save it as .xlsx"
    return f"expected a file that ends in {', '.join(READABLE)}"


def read_sources(
    connection: duckdb.DuckDBPyConnection, paths: Sequence[Path], mapping: WorkshopMapping | None
) -> list[SourceTable]:  # fmt: skip
    """Read every file named, or found in a folder named, into raw tables of the connection, one a sheet.

    Raises LoadError where a file cannot be read or nothing was there to read.
    """
    tables: list[SourceTable] = []
    files = find_files(paths, mapping).files
    with ThreadPoolExecutor() as ahead:  # text files are looked at while the ones before are read
        looks = {path: ahead.submit(_look_at, path, mapping) for path in files if _is_text(path)}
        try:
            for path in files:
                tables += _read_file(connection, path, mapping, looks.get(path))
        except OSError as error:
            raise LoadError(f"{path.name}: cannot be read: {error.strerror or error}") from error
        finally:
            ahead.shutdown(cancel_futures=True)
    if not tables:
        raise LoadError(f"{', '.join(path.name for path in paths) or 'no file'}: nothing to read there")
    return tables


def _is_text(path: Path) -> bool:
    return path.suffix.lower() in TEXT_SUFFIXES


def _look_at(path: Path, mapping: WorkshopMapping | None) -> TextLook | None:
    if mapping is not None and mapping.ignores(path, None):
        return None
    options = mapping.reading_options(path, None) if mapping else ReadingOptions()
    return look_at_text(path, options, headings_known(path, None, mapping))


def _read_file(
    connection: duckdb.DuckDBPyConnection,
    path: Path,
    mapping: WorkshopMapping | None,
    look: Future[TextLook | None] | None,
) -> list[SourceTable]:
    def known(file: Path, sheet: str | None) -> Sequence[frozenset[str]]:
        return headings_known(file, sheet, mapping)

    if mapping is not None and mapping.ignores(path, None):
        return []
    suffix = path.suffix.lower()
    if suffix in WORKBOOK_SUFFIXES:
        return read_workbook(connection, path, mapping, known)
    if suffix in JSON_SUFFIXES:
        return [table for table in read_json(connection, path) if not (mapping and mapping.ignores(path, table.sheet))]
    if suffix in PARQUET_SUFFIXES:
        return [read_parquet(connection, path)]
    options = mapping.reading_options(path, None) if mapping else ReadingOptions()
    return [read_text_table(connection, path, options, known(path, None), look=look.result() if look else None)]


def headings_known(file: Path, sheet: str | None, mapping: WorkshopMapping | None) -> list[frozenset[str]]:
    """Return the sets of folded headings to look for: one a record type, or the mapping's own for this sheet."""
    entries = mapping.entries_for(file, sheet) if mapping else ()
    own = [
        frozenset(fold_heading(column.heading) for column in entry.columns) | known_headings(entry.record)
        for entry in entries
        if entry.record is not None
    ]
    return [frozenset().union(*own)] if own else [known_headings(record) for record in RECORDS]
