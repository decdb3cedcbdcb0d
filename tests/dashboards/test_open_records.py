"""The pages move on when a version is published, and close what nobody reads any more."""

from __future__ import annotations

import shutil
import threading
from pathlib import Path

import duckdb
import pytest

from analytics.warehouse_file import WarehouseError
from dashboards.open_records import OpenRecords


@pytest.fixture
def folder(one_job_folder: Path, tmp_path: Path) -> Path:
    copied = tmp_path / "records"
    copied.mkdir()
    for version in (1, 2, 3):
        shutil.copy(one_job_folder / "warehouse-000001.duckdb", copied / f"warehouse-{version:06d}.duckdb")
    publish(copied, 1)
    return copied


def publish(folder: Path, version: int) -> None:
    (folder / "CURRENT.new").write_text(str(version))
    (folder / "CURRENT.new").replace(folder / "CURRENT")


def test_one_version_is_opened_once_and_lent_to_all(folder: Path) -> None:
    records = OpenRecords(folder)
    with records.current() as first, records.current() as second:
        assert first is second
    assert records.open_versions() == (1,)


def test_the_next_request_after_a_publish_sees_the_new_version(folder: Path) -> None:
    records = OpenRecords(folder)
    with records.current() as warehouse:
        assert warehouse.version == 1
    publish(folder, 2)
    with records.current() as warehouse:
        assert warehouse.version == 2
    assert records.open_versions() == (2,)


def test_a_version_still_being_read_stays_open_until_it_is_given_back(folder: Path) -> None:
    records = OpenRecords(folder)
    with records.current() as old:
        publish(folder, 2)
        with records.current() as new:
            assert (old.version, new.version) == (1, 2)
            assert old.query("select count(*) as n from job")["n"][0] == 2
        assert records.open_versions() == (1, 2)
    assert records.open_versions() == (2,)
    with pytest.raises(duckdb.Error):
        old.query("select 1")


def test_going_back_to_a_kept_version_is_seen_too(folder: Path) -> None:
    records = OpenRecords(folder)
    publish(folder, 2)
    with records.current():
        publish(folder, 1)
    with records.current() as warehouse:
        assert warehouse.version == 1


def test_readers_are_never_turned_away_while_versions_are_published(folder: Path) -> None:
    records, stop, faults, seen = OpenRecords(folder), threading.Event(), [], set()

    def read() -> None:
        while not stop.is_set():
            try:
                with records.current() as warehouse:
                    seen.add(warehouse.version)
                    assert warehouse.query("select count(*) as n from job")["n"][0] == 2
            except Exception as fault:  # told below, in the test's own thread
                faults.append(fault)

    readers = [threading.Thread(target=read) for _ in range(4)]
    for reader in readers:
        reader.start()
    for version in (2, 3, 1, 2, 3) * 4:
        publish(folder, version)
        stop.wait(0.02)
    stop.set()
    for reader in readers:
        reader.join(timeout=20)
    assert faults == []
    assert len(seen) >= 2
    with records.current():
        assert records.open_versions() == (3,)


def test_an_empty_folder_says_how_to_load(tmp_path: Path) -> None:
    records = OpenRecords(tmp_path)
    assert not records.any_published()
    with pytest.raises(WarehouseError, match="there are no job records"), records.current():
        pass


def test_a_version_that_is_gone_is_said_plainly(folder: Path) -> None:
    publish(folder, 9)
    with pytest.raises(WarehouseError, match="version 9 of the job records is not in"), OpenRecords(folder).current():
        pass
