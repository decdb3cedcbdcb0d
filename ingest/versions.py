"""Keep the versions of a warehouse folder: one writer at a time, publish by one atomic step, sweep, go back."""

from __future__ import annotations

import fcntl
import json
import os
import re
import secrets
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import duckdb

from ingest.plan import LoadError

FORMAT = 2  # raised with every change that an older program could not read, or that this one cannot do without
KEPT_VERSIONS = 5
_JOURNAL = "PUBLISHED"
_JOURNAL_LINE = re.compile(r'^\{"version": (\d+), .*\}$', re.MULTILINE)


@dataclass(frozen=True)
class WarehouseFolder:
    """Hold the folder of a warehouse: `CURRENT`, the versions, and the journal of what was published."""

    path: Path

    @property
    def current(self) -> int | None:
        """Return the published version's number, None where nothing was published yet.

        Raises LoadError where the pointer is damaged or the version it names is not there.
        """
        pointer = self.path / "CURRENT"
        if not pointer.is_file():
            return None
        text = pointer.read_bytes().decode(errors="replace").strip()
        if not text.isdecimal() or not self.version_file(int(text)).is_file():
            kept = ", ".join(map(str, sorted(set(self._published()) & set(self._files())))) or "none"
            raise LoadError(
                f"'{pointer}' should name a version that is kept ({kept}), but holds '{text[:40]}'; "
                "publish a kept one again with 'layshaft load --back-to VERSION'"
            )
        return int(text)

    def version_file(self, number: int) -> Path:
        """Return the file of one version."""
        return self.path / f"warehouse-{number:06d}.duckdb"

    @property
    def is_damaged(self) -> bool:
        """Return whether the pointer to the published version cannot be followed."""
        try:
            return self.current is None and bool(self._published())
        except LoadError:
            return True

    def kept(self) -> list[int]:
        """Return the numbers of the versions that are kept, oldest first."""
        published = set(self._published())
        current = None if self.is_damaged else self.current
        return sorted(n for n in self._files() if n in published or n == current)

    def next_number(self) -> int:
        """Return the number of the next version."""
        return max([0, *self._published(), *self._files()]) + 1

    def _files(self) -> list[int]:
        return [int(p.stem.split("-")[1]) for p in self.path.glob("warehouse-*.duckdb")]

    def _published(self) -> list[int]:
        journal = self.path / _JOURNAL
        if not journal.is_file():
            return []
        # A line cut short by a crash names a version that CURRENT names too, or none at all.
        return [int(found[1]) for found in _JOURNAL_LINE.finditer(journal.read_text(errors="replace"))]

    def person_key(self) -> str:
        """Return the secret with which personal names are digested, made once for this folder."""
        path = self.path / "person.key"
        if not path.is_file():
            _write_whole(path, secrets.token_hex(16))
        return path.read_text().strip()


@contextmanager
def writing(folder: Path, wait_seconds: float = 600.0) -> Iterator[WarehouseFolder]:
    """Hold the folder for one load, and sweep what a load that was killed has left.

    Raises LoadError where another load holds it longer than `wait_seconds`, or the folder cannot be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        lock = (folder / ".load.lock").open("w")
    except OSError as fault:
        raise LoadError(f"'{folder}' cannot be written: {fault.strerror}") from fault
    with lock:
        _wait_for(lock.fileno(), folder, wait_seconds)
        held = WarehouseFolder(folder)
        _complete_journal(held)
        sweep(held)
        yield held


def _wait_for(descriptor: int, folder: Path, wait_seconds: float) -> None:
    deadline = time.monotonic() + wait_seconds
    while True:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
            return
        except BlockingIOError as busy:
            if time.monotonic() >= deadline:
                raise LoadError(f"another load is writing to '{folder}'; try again when it is done") from busy
            time.sleep(0.1)


def _complete_journal(folder: WarehouseFolder) -> None:
    """Write down a version that was published by a load killed before it could do so."""
    if not folder.is_damaged and folder.current is not None and folder.current not in folder._published():
        _journal(folder, folder.current, "published by a load that was killed")


def sweep(folder: WarehouseFolder) -> None:
    """Remove what no published version needs: half-built files, and files that were never published.

    Where the pointer to the published version is damaged, every version stays.
    """
    for pattern in ("building-*", "scratch-*", "*.partial"):
        for path in folder.path.glob(pattern):
            shutil.rmtree(path) if path.is_dir() else path.unlink()
    if folder.is_damaged:
        return
    keep = set(folder.kept())
    for number in folder._files():
        if number not in keep:
            folder.version_file(number).unlink()


def publish(folder: WarehouseFolder, built: Path, number: int, note: str) -> None:
    """Make the finished file `built` the published version `number`, durably and in one step."""
    _sync(built)
    os.replace(built, folder.version_file(number))
    _sync(folder.path)
    _point_to(folder, number)
    _journal(folder, number, note)
    for old in folder.kept()[:-KEPT_VERSIONS]:
        if old != number:
            folder.version_file(old).unlink()


def go_back_to(folder: WarehouseFolder, number: int) -> None:
    """Publish a kept version again.

    Raises LoadError where that version is not kept, or is of a format that could not be read once it is published.
    """
    kept = folder.kept()
    if number not in kept:
        raise LoadError(f"version {number} is not kept in '{folder.path}'; kept: {', '.join(map(str, kept)) or 'none'}")
    made = _format_of(folder.version_file(number))
    if made != FORMAT:
        raise LoadError(
            f"version {number} was made by {'an older' if made < FORMAT else 'a newer'} Layshaft (format {made}; this "
            f"one reads {FORMAT}): no page could read it, so nothing was published"
        )
    _point_to(folder, number)
    _journal(folder, number, "gone back to")


def _format_of(path: Path) -> int:
    """Return the format of a version's file; raises LoadError where it is no file of job records."""
    try:
        with duckdb.connect() as connection:
            connection.execute(f"attach '{sql_path(path)}' as kept (read_only)")
            return int(connection.execute("select format from kept.warehouse_format").fetchall()[0][0])
    except duckdb.Error as fault:
        raise LoadError(f"'{path}' cannot be read as job records: {str(fault).splitlines()[0]}") from fault


def sql_path(path: Path) -> str:
    """Return a path as it stands between single quotes in SQL."""
    return str(path).replace("'", "''")


def _point_to(folder: WarehouseFolder, number: int) -> None:
    _write_whole(folder.path / "CURRENT", f"{number}\n")


def _journal(folder: WarehouseFolder, number: int, note: str) -> None:
    path = folder.path / _JOURNAL
    torn = path.is_file() and not path.read_text().endswith("\n") and path.stat().st_size > 0
    with path.open("a") as journal:
        line = json.dumps({"version": number, "at": time.strftime("%Y-%m-%dT%H:%M:%S"), "note": note})
        journal.write(("\n" if torn else "") + line + "\n")
        journal.flush()
        os.fsync(journal.fileno())


def _write_whole(path: Path, text: str) -> None:
    partial = path.with_name(path.name + ".partial")
    with partial.open("w") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    os.replace(partial, path)
    _sync(path.parent)


def _sync(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
