"""Give tests the demo's records, loaded once through the command as a newcomer would."""

from __future__ import annotations

import faulthandler
import fcntl
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from tests.watched_alarms import Alarms

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # small matrices: threads cost more than they bring

TESTS = Path(__file__).resolve().parent
# Begun last, one of them would keep one worker busy while the other has nothing left to do. The second does without the
# demo, which the first makes and all others wait for.
LONGEST_FIRST = (
    "browser/test_demo.py", "ingest/test_resolve.py", "browser/test_by_hand.py", "browser/test_access.py",
    "analytics/test_known_dates.py", "ingest/test_corrections.py", "analytics/test_setting_questions.py",
    "browser/test_setting.py", "analytics/test_due_for_rebuild.py", "ingest/test_killed_loads.py",
    "browser/test_one_job.py", "demo_warehouse/test_demo.py",
)  # fmt: skip


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the files that take longest first."""
    place = {TESTS / name: number for number, name in enumerate(LONGEST_FIRST)}
    items.sort(key=lambda item: place.get(item.path, len(place)))


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Let tests that are meant to take long do so."""
    if any(item.get_closest_marker(name) for name in ("bench", "long")):
        faulthandler.cancel_dump_traceback_later()


@pytest.fixture(scope="session")
def demo_warehouse_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of the demo's job records (messy files, loaded through their mapping); not to be written to."""
    return _made_once(tmp_path_factory, "demo", ["demo", "--no-serve", "--keep-files", "{base}/demo-files"])


@pytest.fixture(scope="session")
def demo_files_folder(demo_warehouse_folder: Path) -> Path:
    """Return the folder of the source files from which the demo was loaded."""
    return demo_warehouse_folder.parent / "demo-files"


@pytest.fixture(scope="session")
def clean_demo_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with the job records of the demo written without defects."""
    base = _base(tmp_path_factory)
    files = base / "clean-files"
    with (base / "clean.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not (base / "clean" / "CURRENT").is_file():
            _run([sys.executable, "-m", "demo_warehouse", "--clean", "--out", str(files)])
            _layshaft(["load", *map(str, sorted(files.glob("*.csv"))), "--warehouse", str(base / "clean")])
    return base / "clean"


@pytest.fixture(scope="session")
def one_job_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return job records that hold one job and its comeback; not to be written to."""
    from tests.one_job import load_one_job  # numpy is loaded after the line above that tells it of threads

    return load_one_job(tmp_path_factory.mktemp("one-job"))


@pytest.fixture
def one_job_copy(one_job_folder: Path, tmp_path: Path) -> Path:
    """Return a copy of those records, in which a test may write."""
    return Path(shutil.copytree(one_job_folder, tmp_path / "records"))


@pytest.fixture
def alarms() -> Alarms:
    """Return alarms that ring as a test says."""
    from tests.watched_alarms import Alarms

    return Alarms()


def _base(tmp_path_factory: pytest.TempPathFactory) -> Path:
    base = tmp_path_factory.getbasetemp()
    return base.parent if os.environ.get("PYTEST_XDIST_WORKER") else base


def _made_once(tmp_path_factory: pytest.TempPathFactory, name: str, arguments: list[str]) -> Path:
    """Run the command once for all workers of a run and return its warehouse folder."""
    base = _base(tmp_path_factory)
    folder = base / name
    with (base / f"{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not (folder / "CURRENT").is_file():
            _layshaft([*(a.format(base=base) for a in arguments), "--warehouse", str(folder)])
    return folder


def _layshaft(arguments: list[str]) -> None:
    _run([sys.executable, "-c", "from dashboards.command import main; main()", *arguments])


def _run(command: list[str]) -> None:
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, f"{command}: {done.stdout}\n{done.stderr}"
