"""The drawing script is made once on a machine and kept outside the repository."""

from __future__ import annotations

import gzip
from pathlib import Path

import pytest

from dashboards.chart_engine import ChartEngine, user_cache_folder


def test_it_is_made_once_and_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    first = ChartEngine(tmp_path).packed()
    assert "window.vegaEmbed" in gzip.decompress(first).decode()
    assert [path.name for path in tmp_path.iterdir()] == [ChartEngine(tmp_path).path.name]
    monkeypatch.setattr("dashboards.chart_engine.vl_convert.javascript_bundle", None)  # making it again would fail
    assert ChartEngine(tmp_path).packed() == first


def test_where_it_cannot_be_kept_it_still_serves(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    taken = tmp_path / "taken"
    taken.write_text("a file where a folder should be")
    assert ChartEngine(taken).packed()
    assert "cannot be kept" in caplog.text


def test_it_is_kept_in_the_users_own_cache(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("sys.platform", "linux")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    assert user_cache_folder() == tmp_path / "layshaft"
    repository = Path(__file__).parents[2]
    monkeypatch.delenv("XDG_CACHE_HOME")
    assert repository not in user_cache_folder().parents
