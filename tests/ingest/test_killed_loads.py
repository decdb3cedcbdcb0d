"""Kill loads at many points: the version that was published stays whole, and the next load clears up after the dead."""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from analytics.warehouse_file import open_warehouse
from ingest.load import load
from ingest.versions import WarehouseFolder, writing
from tests.csv_workshop import BASE, CsvWorkshop

ROOT = Path(__file__).resolve().parents[2]
MORE = {"findings.csv": "job,position,grade\nJ1,2nd ring,3\n", "units.csv": "unit,family\nU8,K4\nU9,K4\n"}
NEVER = 999


@dataclass
class Loads:
    """Hold the process that runs loads, a warehouse folder with one version, and files to load into its copies."""

    process: subprocess.Popen[str]
    records: Path
    files: Path

    def copy(self, place: Path) -> Path:
        """Return a copy of the warehouse folder."""
        return Path(shutil.copytree(self.records, place))

    def start(self, mode: str, folder: Path, point: int) -> None:
        """Start a load."""
        self._ask([mode, str(folder), str(self.files), point])
        assert self._said() == "started"

    def kill(self) -> int:
        """Kill the load, where it still runs, and return how it ended."""
        self._ask([])
        said = self._said()
        while not said.startswith("ended "):  # what it said of itself before
            said = self._said()
        return int(said.split()[1])

    def kill_at(self, mode: str, folder: Path, point: int) -> bool:
        """Load as far as a point and kill the load there; return whether it got there."""
        self.start(mode, folder, point)
        said = self._said()
        assert said in ("reached", "done"), said
        ended = self.kill()
        assert ended == -signal.SIGKILL or said == "done"
        return said == "reached"

    def _ask(self, request: list[object]) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(json.dumps(request) + "\n")
        self.process.stdin.flush()

    def _said(self) -> str:
        assert self.process.stdout is not None
        said = self.process.stdout.readline()
        assert said, f"the process that runs loads ended with {self.process.poll()}"
        return said.strip()


@pytest.fixture(scope="module")
def loads(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Loads]:
    made = CsvWorkshop(tmp_path_factory.mktemp("kills"))
    made.load(BASE)
    script = [sys.executable, str(Path(__file__).with_name("loads_to_kill.py"))]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    with subprocess.Popen(script, stdin=-1, stdout=-1, text=True, env=environment, cwd=ROOT) as process:
        yield Loads(process, made.records, made.write(MORE))
        assert process.stdin is not None
        process.stdin.close()


def _check_whole(folder: Path) -> int:
    """Check that the published version reads whole and the leavings are swept; return its number."""
    opened = open_warehouse(folder)
    version = opened.version
    counted = opened.query("select (select count(*) from unit) as units, (select count(*) from finding) as findings")
    opened.close()
    assert counted.row(0) == {1: (3, 0), 2: (5, 1)}[version]
    with writing(folder) as held:
        left = {path.name for path in folder.iterdir()}
        expected = {".load.lock", "CURRENT", "PUBLISHED", "person.key"}
        assert left == expected | {held.version_file(number).name for number in range(1, version + 1)}
        assert held.kept() == list(range(1, version + 1))
    return version


def _check_next_load(folder: Path, files: Path) -> None:
    assert load(folder, [files]).version == 2
    assert WarehouseFolder(folder).current == 2
    assert _check_whole(folder) == 2


@pytest.mark.parametrize("step", [1, 2, 3, 4])
def test_killed_at_a_step(loads: Loads, tmp_path: Path, step: int) -> None:
    folder = loads.copy(tmp_path / "records")
    assert loads.kill_at("step", folder, step)
    assert _check_whole(folder) == 1


def test_killed_before_each_call_that_makes_something_last(loads: Loads, tmp_path: Path) -> None:
    found: list[int] = []
    while loads.kill_at("lasting call", folder := loads.copy(tmp_path / f"records {len(found)}"), len(found) + 1):
        found.append(_check_whole(folder))
    assert found == sorted(found), "once published, always published"
    assert set(found) == {1, 2}
    _check_next_load(tmp_path / "records 0", loads.files)


def _kill_at_random(loads: Loads, tmp_path: Path, times: int, every_load: bool) -> None:
    began = time.monotonic()
    assert not loads.kill_at("step", loads.copy(tmp_path / "timed"), NEVER)
    whole = time.monotonic() - began
    draw = random.Random(7)
    for number in range(times):
        folder = loads.copy(tmp_path / f"records {number}")
        loads.start("step", folder, NEVER)
        time.sleep(whole * draw.random())
        assert loads.kill() in (-signal.SIGKILL, 0)
        _check_whole(folder)
        if every_load:
            _check_next_load(folder, loads.files)
        shutil.rmtree(folder)


def test_killed_at_random(loads: Loads, tmp_path: Path) -> None:
    _kill_at_random(loads, tmp_path, 12, every_load=False)


@pytest.mark.long
def test_killed_at_random_many_times(loads: Loads, tmp_path: Path) -> None:
    _kill_at_random(loads, tmp_path, 60, every_load=True)
