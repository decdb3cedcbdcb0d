"""Provide the script that draws charts in the browser, made once on this machine and kept in the user's cache."""

from __future__ import annotations

import gzip
import logging
import os
import sys
import threading
from importlib.metadata import version
from pathlib import Path

import vl_convert

VEGA_LITE = "6.4"  # the version that Altair 6.3 writes
ADDRESS = "/chart-engine.js"
_HAND_OVER = "window.vegaEmbed = vegaEmbed;"  # what the script leaves for our pages to call


class ChartEngine:
    """Hold the drawing script, compressed. Made at the first use: it takes about a second, once per machine."""

    def __init__(self, folder: Path | None = None) -> None:
        """Keep the script in `folder`, by default in the user's own cache folder."""
        self._folder = folder or user_cache_folder()
        self._lock = threading.Lock()
        self._packed: bytes | None = None

    def packed(self) -> bytes:
        """Return the script as gzip-compressed UTF-8."""
        with self._lock:
            if self._packed is None:
                self._packed = self._kept() or self._make()
            return self._packed

    @property
    def path(self) -> Path:
        """Return where the script is kept; the name changes with the versions that make it."""
        return self._folder / f"chart-engine-{VEGA_LITE}-{version('vl-convert-python')}.js.gz"

    def _kept(self) -> bytes | None:
        return self.path.read_bytes() if self.path.is_file() else None

    def _make(self) -> bytes:
        script: str = vl_convert.javascript_bundle(_HAND_OVER, vl_version=VEGA_LITE)
        packed = gzip.compress(script.encode(), mtime=0)
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            part = self.path.with_suffix(f".{os.getpid()}.part")
            part.write_bytes(packed)
            part.replace(self.path)
        except OSError as fault:
            logging.getLogger(__name__).warning("the chart script cannot be kept in '%s': %s", self._folder, fault)
        return packed


def user_cache_folder() -> Path:
    """Return this user's cache folder for Layshaft on this system."""
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA", Path.home() / "AppData" / "Local"))
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Caches"
    else:
        base = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    return base / "layshaft"
