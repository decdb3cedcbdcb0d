"""Load a large invented workshop beside the bare reading of the same files: how many times as long, how much memory.

Both run in processes of their own, one after the other, in one run on one machine. The bare reading is DuckDB's
`read_csv` with every column typed, into tables on disk. Every planted defect is reconciled with what the load says.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.bench.large_workshop import write_large_workshop

JOBS = int(os.environ.get("LAYSHAFT_BENCH_JOBS", "200000"))
MOST_TIMES, MOST_MEMORY = 4.0, 4 * 2**30


def _timed(name: str, files: Path, folder: Path) -> tuple[dict[str, Any], float, int]:
    """Run `timed_load.py` in a process of its own; return what it gives, its seconds and its peak memory."""
    folder.mkdir()
    command = [sys.executable, str(Path(__file__).with_name("timed_load.py")), name, str(files), str(folder)]
    root = str(Path(__file__).resolve().parents[2])
    done = subprocess.run(
        command, capture_output=True, text=True, check=False, cwd=root, env={**os.environ, "PYTHONPATH": root}
    )
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    return told["gave"], told["seconds"], told["peak"]


@pytest.mark.bench
def test_load_against_the_bare_reading(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    expected = write_large_workshop(tmp_path / "files", JOBS)
    _timed("bare", tmp_path / "files", tmp_path / "warm")  # the files lie in memory for both from here on
    _, bare, _ = _timed("bare", tmp_path / "files", tmp_path / "bare")
    report, whole, peak = _timed("load", tmp_path / "files", tmp_path / "load")
    _, bare_again, _ = _timed("bare", tmp_path / "files", tmp_path / "bare again")
    ratio = whole / ((bare + bare_again) / 2)
    with capsys.disabled():
        print(
            f"\nload of {report['totals']['read']:,} rows ({JOBS:,} jobs): {whole:.1f} s, bare reading {bare:.1f} and "
            f"{bare_again:.1f} s: {ratio:.1f} times; peak memory {peak / 2**30:.2f} GiB"
        )
    found = {Path(entry["file"]).stem: entry for entry in report["files"]}
    for record, counts in expected.items():
        told = {name: found[record][name] for name in counts}
        assert told == counts, record
        assert found[record]["accepted"] == counts["read"] - counts["quarantined"] - counts["duplicate"]
    assert peak < MOST_MEMORY
    assert ratio <= MOST_TIMES
