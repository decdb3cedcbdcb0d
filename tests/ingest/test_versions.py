"""Keep versions of a warehouse folder: publish, go back, sweep, wait, and say what is wrong in a sentence."""

from __future__ import annotations

import json
import os
import resource
import shutil
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import duckdb
import pytest

from analytics.warehouse_file import READS_FORMAT, WarehouseError, open_warehouse
from ingest.load import load
from ingest.plan import LoadError
from ingest.versions import FORMAT, KEPT_VERSIONS, WarehouseFolder, go_back_to, publish, writing
from tests.csv_workshop import BASE, CsvWorkshop


@pytest.fixture(scope="module")
def loaded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a warehouse folder with one version."""
    shop = CsvWorkshop(tmp_path_factory.mktemp("versions"))
    shop.load(BASE)
    return shop.records


@pytest.fixture
def folder(loaded: Path, tmp_path: Path) -> Path:
    """Return a copy of that folder to change."""
    return Path(shutil.copytree(loaded, tmp_path / "records"))


def _publish_copy(held: WarehouseFolder) -> int:
    """Publish a copy of the published version as the next one."""
    assert held.current is not None
    number = held.next_number()
    built = held.path / f"building-{number:06d}.duckdb"
    shutil.copyfile(held.version_file(held.current), built)
    publish(held, built, number, "a copy")
    return number


def _layshaft(*arguments: object) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-c", "from dashboards.command import main; main()", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def test_old_versions_go_and_a_kept_one_can_be_published_again(folder: Path) -> None:
    with writing(folder) as held:
        numbers = [1, *(_publish_copy(held) for _ in range(KEPT_VERSIONS + 1))]
        assert held.kept() == numbers[-KEPT_VERSIONS:]
        go_back_to(held, numbers[-3])
    assert WarehouseFolder(folder).current == numbers[-3]
    with writing(folder) as held:
        assert held.kept() == numbers[-KEPT_VERSIONS:], "going back loses nothing"
        assert held.next_number() == numbers[-1] + 1
        with pytest.raises(LoadError, match=r"version 1 is not kept in .*; kept: 3, 4, 5, 6, 7"):
            go_back_to(held, 1)
    opened = open_warehouse(folder)
    assert opened.version == numbers[-3]
    opened.close()


def test_leavings_are_swept_and_versions_are_not(folder: Path) -> None:
    (folder / "building-000002.duckdb").write_bytes(b"half")
    (folder / "building-000002.duckdb.wal").write_bytes(b"half")
    (folder / "scratch-77.tmp").mkdir()
    (folder / "scratch-77.tmp" / "spilled").write_bytes(b"x")
    (folder / "CURRENT.partial").write_text("2")
    (folder / "warehouse-000002.duckdb").write_bytes(b"never published")
    with writing(folder) as held:
        assert held.kept() == [1]
    left = {path.name for path in folder.iterdir()}
    assert left == {".load.lock", "CURRENT", "PUBLISHED", "person.key", "warehouse-000001.duckdb"}


@pytest.mark.parametrize("text", ["", "seven", "99", "\udce9".encode(errors="surrogateescape")])
def test_a_damaged_pointer_is_said_and_can_be_mended(folder: Path, tmp_path: Path, text: str | bytes) -> None:
    with writing(folder) as held:
        assert _publish_copy(held) == 2
    (folder / "CURRENT").write_bytes(text if isinstance(text, bytes) else text.encode())
    (tmp_path / "units.csv").write_text("unit,family\nU8,K4\n")
    with pytest.raises(LoadError, match=r"should name a version that is kept \(1, 2\)") as refused:
        load(folder, [tmp_path / "units.csv"])
    assert "--back-to" in str(refused.value)
    with pytest.raises(WarehouseError, match="version"):
        open_warehouse(folder)
    with writing(folder) as held:
        assert held.kept() == [1, 2], "nothing is swept while it is not known which is published"
        go_back_to(held, 2)
    assert load(folder, [tmp_path / "units.csv"]).version == 3


def test_a_line_of_the_journal_cut_short_does_no_harm(folder: Path) -> None:
    with (folder / "PUBLISHED").open("a") as journal:
        journal.write('{"version": 2, "at"')
    with writing(folder) as held:
        _publish_copy(held)
        assert held.kept() == [1, 2]
    assert [json.loads(x)["version"] for x in (folder / "PUBLISHED").read_text().splitlines() if x.endswith("}")] == [
        1,
        2,
    ]


def test_a_version_published_by_a_load_that_was_killed_is_kept(folder: Path) -> None:
    journal = (folder / "PUBLISHED").read_text()
    with writing(folder) as held:
        _publish_copy(held)
    (folder / "PUBLISHED").write_text(journal)  # killed after the pointer moved, before the journal
    with writing(folder) as held:
        _publish_copy(held)
        assert held.kept() == [1, 2, 3]


def test_a_second_load_waits_or_says_so(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "units.csv").write_text("unit,family\nU8,K4\n")
    with writing(folder):
        done = _layshaft("load", tmp_path / "units.csv", "--warehouse", folder, "--no-wait")
        assert done.returncode == 2
        assert (
            done.stderr.splitlines()[-1]
            == f"layshaft: another load is writing to '{folder}'; try again when it is done"
        )
    held, go = threading.Event(), threading.Event()

    def other() -> None:
        with writing(folder):
            held.set()
            go.wait(30)

    thread = threading.Thread(target=other)
    thread.start()
    held.wait(30)
    threading.Timer(0.3, go.set).start()
    began = time.monotonic()
    assert load(folder, [tmp_path / "units.csv"]).version == 2
    assert time.monotonic() - began >= 0.2
    thread.join()


def test_readers_never_fail_while_versions_are_published(folder: Path) -> None:
    stop, faults, seen = threading.Event(), [], set()

    def read() -> None:
        while not stop.is_set():
            try:
                opened = open_warehouse(folder)
                jobs = opened.query("select count(*) as n, max(version) as version from job, warehouse_format")
                assert jobs["n"][0] == 3
                seen.add(opened.version)
                opened.close()
            except Exception as fault:  # any fault at all fails the test below
                faults.append(repr(fault))

    threads = [threading.Thread(target=read) for _ in range(3)]
    for thread in threads:
        thread.start()
    for _ in range(20):
        with writing(folder) as held:
            number = _publish_copy(held)
        deadline = time.monotonic() + 60
        while number not in seen and not faults and time.monotonic() < deadline:
            time.sleep(0.005)
    stop.set()
    for thread in threads:
        thread.join()
    assert not faults
    assert set(range(2, 22)) <= seen, "readers move on to every version"


def test_a_newer_format_is_refused_by_load_and_by_show(folder: Path, tmp_path: Path) -> None:
    _set_format(folder, 99)
    (tmp_path / "units.csv").write_text("unit,family\nU8,K4\n")
    with pytest.raises(LoadError, match=rf"made by a newer Layshaft \(format 99; this one writes {FORMAT}\)"):
        load(folder, [tmp_path / "units.csv"])
    with pytest.raises(WarehouseError, match=rf"made by a newer Layshaft \(format 99; this one reads {READS_FORMAT}\)"):
        open_warehouse(folder)
    assert WarehouseFolder(folder).current == 1


def test_what_is_written_is_what_is_read() -> None:
    assert FORMAT == READS_FORMAT


def test_an_older_format_is_said_and_made_anew_by_loading_any_file_once_more(folder: Path, loaded: Path) -> None:
    """As before the marts of lives and the last field: a file on record loaded again brings every row along."""
    rows = {name: _count(folder, name) for name in ("job", "unit", "shim_location", "held_job")}
    _set_format(folder, FORMAT - 1)
    with duckdb.connect(str(folder / "warehouse-000001.duckdb")) as connection:
        connection.execute("drop table life_inspection; alter table job drop column usage_basis")
        connection.execute("drop table money_line; drop table held_money_line")
    said = _layshaft("show", "component-life", "--warehouse", folder)
    assert said.returncode == 2
    assert f"made by an older Layshaft (format {FORMAT - 1}; this one reads {READS_FORMAT})" in said.stderr
    assert "load any of their files once more with 'layshaft load FILES'" in said.stderr
    report = load(folder, [loaded.parent / "load 1" / "units.csv"])
    assert report.published, "though it brought no row that was not on record"
    assert report.version == 2
    assert {name: _count(folder, name) for name in rows} == rows
    assert _count(folder, "life_inspection") == _count(loaded, "life_inspection")
    assert _count(folder, "money_line") == 0
    with pytest.raises(WarehouseError, match=r"version 1 of the job records .* leave the version out"):
        open_warehouse(folder, 1)


def test_a_kept_version_that_no_page_could_read_is_not_published_again(folder: Path) -> None:
    with writing(folder) as held:
        assert _publish_copy(held) == 2
    _set_format(folder, FORMAT - 1)
    journal = (folder / "PUBLISHED").read_text()
    said = _layshaft("load", "--back-to", 1, "--warehouse", folder)
    assert (said.returncode, said.stdout) == (2, "")
    assert said.stderr == (
        f"layshaft: version 1 was made by an older Layshaft (format {FORMAT - 1}; this one reads {FORMAT}): no page could "
        "read it, so nothing was published\n"
    )
    assert (WarehouseFolder(folder).current, (folder / "PUBLISHED").read_text()) == (2, journal)
    open_warehouse(folder).close()
    (folder / "warehouse-000001.duckdb").write_bytes(b"not a database at all" * 300)
    with writing(folder) as held, pytest.raises(LoadError, match="cannot be read as job records"):
        go_back_to(held, 1)
    assert WarehouseFolder(folder).current == 2


def test_a_demo_of_an_older_format_is_to_be_made_again(folder: Path) -> None:
    (folder / "DEMO").write_text("")
    _set_format(folder, FORMAT - 1)
    said = _layshaft("demo", "--no-serve", "--warehouse", folder)
    assert said.returncode == 2
    assert "holds the demo of an older Layshaft: delete the folder, then ask for the demo again" in said.stderr


def _set_format(folder: Path, number: int) -> None:
    with duckdb.connect(str(folder / "warehouse-000001.duckdb")) as connection:
        connection.execute(f"update warehouse_format set format = {number}")


def _count(folder: Path, table: str) -> int:
    opened = open_warehouse(folder)
    try:
        return int(opened.query(f"select count(*) from {table}").item())
    finally:
        opened.close()


def test_a_published_file_that_is_no_database_is_said(folder: Path, tmp_path: Path) -> None:
    (folder / "warehouse-000001.duckdb").write_bytes(b"not a database at all" * 300)
    (tmp_path / "units.csv").write_text("unit,family\nU8,K4\n")
    with pytest.raises(LoadError, match="cannot be"):
        load(folder, [tmp_path / "units.csv"])
    with pytest.raises(WarehouseError, match="cannot be read as job records"):
        open_warehouse(folder)


def _limited(folder: Path, paths: list[Path], file_size: int | None = None, user: int | None = None) -> str:
    """Load in a child process under a limit; return what it says."""
    code = (
        "import os, sys\nfrom pathlib import Path\nfrom ingest.load import load\nfrom ingest.plan import LoadError\n"
        f"{'' if user is None else f'os.setuid({user})'}\n"
        "try:\n    print(load(Path(sys.argv[1]), [Path(p) for p in sys.argv[2:]]).version)\n"
        "except LoadError as fault:\n    print(fault)\n"
    )

    def limit() -> None:
        if file_size is not None:
            resource.setrlimit(resource.RLIMIT_FSIZE, (file_size, file_size))

    done = subprocess.run(
        [sys.executable, "-c", code, str(folder), *map(str, paths)],
        capture_output=True,
        text=True,
        check=False,
        preexec_fn=limit,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


def test_no_room_for_the_new_version_leaves_the_old_one(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "units.csv").write_text("unit,family\n" + "".join(f"V{n},K4\n" for n in range(2000)))
    before = (folder / "warehouse-000001.duckdb").read_bytes()
    for file_size in (0, 40_000, 1_000_000):
        said = _limited(folder, [tmp_path / "units.csv"], file_size=file_size)
        assert "nothing was published" in said or "cannot be written" in said, said
        assert "\n" not in said
        assert WarehouseFolder(folder).current == 1
    assert (folder / "warehouse-000001.duckdb").read_bytes() == before
    assert load(folder, [tmp_path / "units.csv"]).version == 2
    assert not list(folder.glob("building-*"))


@pytest.fixture
def open_tmp_path(tmp_path: Path) -> Iterator[Path]:
    """Return a temporary folder that every user may enter."""
    changed = {}
    for path in (tmp_path, *tmp_path.parents):
        mode = path.stat().st_mode
        if mode & 0o005 != 0o005 and path.owner() == tmp_path.owner():
            changed[path] = mode
            path.chmod(mode | 0o055)
    yield tmp_path
    for path, mode in changed.items():
        path.chmod(mode)


def test_a_folder_that_may_not_be_written_is_said(folder: Path, open_tmp_path: Path) -> None:
    (open_tmp_path / "units.csv").write_text("unit,family\nU8,K4\n")
    folder.chmod(0o555)
    for path in folder.iterdir():
        path.chmod(0o444)
    nobody = 65534 if os.getuid() == 0 else None
    said = _limited(folder, [open_tmp_path / "units.csv"], user=nobody)
    folder.chmod(0o755)
    assert said == f"'{folder}' cannot be written: Permission denied"
    assert WarehouseFolder(folder).current == 1
