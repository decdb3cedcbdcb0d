"""Check that a command starts with what it needs only."""

from __future__ import annotations

import subprocess
import sys

import pytest


@pytest.mark.parametrize(
    ("imports", "left_out"),
    [
        ("dashboards.command", "altair dash demo_warehouse ingest.load scipy xlsxwriter"),
        ("dashboards.command, analytics.questions", "altair dash demo_warehouse ingest.load scipy.stats xlsxwriter"),
    ],
)
def test_what_one_subcommand_alone_needs_is_loaded_by_it(imports: str, left_out: str) -> None:
    script = f"import sys, {imports}; print(*set(sys.modules).intersection({left_out.split()}))"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout.strip(), done.stderr) == (0, "", "")
