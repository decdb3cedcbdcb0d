"""Open a published warehouse version for reading."""

from __future__ import annotations

import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import duckdb
import polars as pl

from analytics.bounded_cache import BoundedCache

READS_FORMAT = 2  # the warehouse format that this code reads
KEPT_RESULTS, KEPT_LARGE_RESULTS = 32, 6

_SAFE = {
    "enable_external_access": "false",
    "lock_configuration": "true",
    "autoinstall_known_extensions": "false",
    "autoload_known_extensions": "false",
    "python_enable_replacements": "false",
}


class WarehouseError(Exception):
    """Say in one plain sentence why the job records cannot be read."""


class OlderWarehouseError(WarehouseError):
    """Say that an older program made the job records, and how they are made anew."""


@dataclass(frozen=True)
class Warehouse:
    """Hold one published version, open for reading. Threads may share it: every query takes its own cursor.

    `kept` holds what was worked out from it at length, by what it depends on (the day, the scope), so that views that
    differ in something else do not work it out again; small results only, for they live as long as the version is open.
    `kept_large` does so for a few that may fill tens of megabytes in a large workshop.
    """

    folder: Path
    version: int
    connection: duckdb.DuckDBPyConnection = field(repr=False, compare=False)
    lock: threading.Lock = field(default_factory=threading.Lock, repr=False, compare=False)
    kept: BoundedCache = field(default_factory=lambda: BoundedCache(KEPT_RESULTS), repr=False, compare=False)
    kept_large: BoundedCache = field(
        default_factory=lambda: BoundedCache(KEPT_LARGE_RESULTS), repr=False, compare=False
    )

    def query(
        self, sql: str, parameters: Mapping[str, Any] | None = None, frames: Mapping[str, pl.DataFrame] | None = None
    ) -> pl.DataFrame:
        """Return the rows of `sql` as a frame; `$name` in it takes the value of that name, and `frames` are tables of it."""
        with self._cursor() as cursor:
            for name, given in (frames or {}).items():
                cursor.register(name, given.to_arrow())
            frame: pl.DataFrame = cursor.sql(sql, params=dict(parameters) if parameters else None).pl()
        return frame

    @contextmanager
    def _cursor(self) -> Iterator[duckdb.DuckDBPyConnection]:
        with self.lock:
            cursor = self.connection.cursor()
        try:
            yield cursor
        finally:
            cursor.close()

    def close(self) -> None:
        """Close the file."""
        self.connection.close()


def published_version(folder: Path) -> int:
    """Return the number of the published version.

    Raises WarehouseError where the folder holds no job records, or does not let itself be read.
    """
    pointer = folder / "CURRENT"
    if not pointer.is_file():
        raise WarehouseError(f"there are no job records in '{folder}' yet: load some with 'layshaft load FILES'")
    try:
        text = pointer.read_text(errors="replace").strip()
    except OSError as fault:
        raise WarehouseError(f"'{pointer}' cannot be read: {fault.strerror or fault}") from fault
    if not text.isdigit():
        raise WarehouseError(f"'{pointer}' should hold the number of a version, but holds '{text[:40]}'")
    return int(text)


def open_warehouse(folder: Path, version: int | None = None, threads: int = 2) -> Warehouse:
    """Open the published version of the warehouse in `folder`, or the kept version asked for.

    Raises WarehouseError where there is none, where that version is not kept, or where a newer or older program made it.
    """
    number = published_version(folder) if version is None else version
    path = folder / f"warehouse-{number:06d}.duckdb"
    if not path.is_file():
        kept = ", ".join(str(int(p.stem.split("-")[1])) for p in sorted(folder.glob("warehouse-*.duckdb"))) or "none"
        raise WarehouseError(f"version {number} of the job records is not in '{folder}'; kept versions: {kept}")
    try:
        connection = duckdb.connect(str(path), read_only=True, config={**_SAFE, "threads": str(threads)})
        made = connection.sql("select format from warehouse_format").fetchall()[0][0]
    except duckdb.Error as fault:
        raise WarehouseError(f"'{path}' cannot be read as job records: {str(fault).splitlines()[0]}") from fault
    if made != READS_FORMAT:
        connection.close()
        raise _of_another_format(folder, number, made)
    return Warehouse(folder, number, connection)


def _of_another_format(folder: Path, number: int, made: int) -> WarehouseError:
    formats = f"(format {made}; this one reads {READS_FORMAT})"
    if made > READS_FORMAT:
        return WarehouseError(
            f"the job records in '{folder}' were made by a newer Layshaft {formats}: update this installation"
        )
    if number != published_version(folder):
        return OlderWarehouseError(
            f"version {number} of the job records in '{folder}' was made by an older Layshaft {formats} and cannot be "
            "asked any more: leave the version out"
        )
    return OlderWarehouseError(
        f"the job records in '{folder}' were made by an older Layshaft {formats}: load any of their files once more with "
        "'layshaft load FILES', which makes them anew from every row on record"
    )
