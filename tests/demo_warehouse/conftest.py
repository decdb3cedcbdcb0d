"""Play the default workshop once for all tests here, and write its messy files once."""

from __future__ import annotations

from pathlib import Path

import pytest

from demo_warehouse import DemoSummary, Workshop, play_workshop, write_demo


@pytest.fixture(scope="package")
def workshop() -> Workshop:
    """Return the default workshop, played with its own seed."""
    return play_workshop()


@pytest.fixture(scope="package")
def messy(tmp_path_factory: pytest.TempPathFactory) -> DemoSummary:
    """Return the summary of the default workshop's messy files."""
    return write_demo(None, None, tmp_path_factory.mktemp("demo") / "files")


@pytest.fixture
def small(tmp_path: Path) -> Path:
    """Return a scenario file of a workshop a tenth as large."""
    path = tmp_path / "small.toml"
    path.write_text("scale = 0.1\n", encoding="utf-8")
    return path
