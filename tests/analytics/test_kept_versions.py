"""Which versions are kept, and what each load brought."""

from __future__ import annotations

from pathlib import Path

from analytics.kept_versions import kept_versions, loads
from analytics.warehouse_file import open_warehouse
from ingest.load import load
from tests.one_job import FILES, load_one_job


def test_each_load_is_listed_the_newest_first_with_what_it_brought(tmp_path: Path) -> None:
    folder = load_one_job(tmp_path)
    later = tmp_path / "complaints later.csv"
    later.write_text("job,complaint\nJ/24-61,leak\nJ/99-99,leak\n")
    load(folder, [later])
    assert kept_versions(folder) == (2, 1)
    warehouse = open_warehouse(folder)
    told = loads(warehouse)
    warehouse.close()
    assert told["load_id"].to_list() == [2, 1]
    written = sum(len(text.strip().splitlines()) - 1 for text in FILES.values())
    assert told["read"].to_list() == [2, written]
    assert told["to_put_right"].to_list() == [1, 0]
    assert told["files"].to_list() == [1, len(FILES)]
    assert told["loaded_at"].null_count() == 0


def test_an_empty_folder_keeps_none(tmp_path: Path) -> None:
    assert kept_versions(tmp_path) == ()
