"""Folders of job records for the tests of this room."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.one_job import load_one_job


@pytest.fixture(scope="session")
def one_job_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return job records that hold one job and its comeback."""
    return load_one_job(tmp_path_factory.mktemp("one-job"))
