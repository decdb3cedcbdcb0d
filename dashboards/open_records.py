"""Keep the published job records open for the pages, and move on when a newer version is published."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from analytics.warehouse_file import Warehouse, WarehouseError, open_warehouse, published_version


class OpenRecords:
    """Hold one open Warehouse per version in use. A version that was replaced is closed once nobody reads it."""

    def __init__(self, folder: Path) -> None:
        """Look after the job records in `folder`; nothing is opened yet."""
        self.folder = folder
        self._open: dict[int, Warehouse] = {}
        self._readers: dict[int, int] = {}
        self._published: int | None = None
        self._lock = threading.Lock()

    @contextmanager
    def current(self) -> Iterator[Warehouse]:
        """Lend the published version for reading; raises WarehouseError where there is none."""
        warehouse = self._take()
        try:
            yield warehouse
        finally:
            self._give_back(warehouse)

    def any_published(self) -> bool:
        """Return whether anything was ever published in the folder."""
        return (self.folder / "CURRENT").is_file()

    def open_versions(self) -> tuple[int, ...]:
        """Return the versions that are open."""
        with self._lock:
            return tuple(sorted(self._open))

    def close(self) -> None:
        """Close every version."""
        with self._lock:
            for version in list(self._open):
                self._open.pop(version).close()
            self._readers.clear()

    def _take(self) -> Warehouse:
        with self._lock:
            warehouse = self._opened(published_version(self.folder))
            self._published = warehouse.version
            self._readers[warehouse.version] = self._readers.get(warehouse.version, 0) + 1
            self._close_idle()
            return warehouse

    def _opened(self, version: int) -> Warehouse:
        if version not in self._open:
            try:
                self._open[version] = open_warehouse(self.folder, version)
            except WarehouseError:
                newer = published_version(self.folder)
                if newer == version:
                    raise
                return self._opened(newer)  # a load published and swept between the two looks
        return self._open[version]

    def _give_back(self, warehouse: Warehouse) -> None:
        with self._lock:
            self._readers[warehouse.version] = self._readers.get(warehouse.version, 1) - 1
            self._close_idle()

    def _close_idle(self) -> None:
        for version in [v for v in self._open if v != self._published and self._readers.get(v, 0) <= 0]:
            self._open.pop(version).close()
            self._readers.pop(version, None)
