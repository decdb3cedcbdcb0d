"""Newcombe's proportions, written down as job records, loaded, and asked through the command."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from tests.small_workshop import load_rows, shown

# Newcombe, Statistics in Medicine 17 (1998) 857, Wilson score intervals (from memory, recomputed with statsmodels).
PUBLISHED = [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605)]


@pytest.mark.parametrize(("failed", "inspected", "low", "high"), PUBLISHED)
def test_failure_rate_has_newcombes_wilson_limits(
    tmp_path: Path, failed: int, inspected: int, low: float, high: float
) -> None:
    day = dt.date(2020, 5, 4)
    folder = load_rows(
        tmp_path,
        {
            "family": [{"family": "K4", "kind": "gearbox"}],
            "position": [{"family": "K4", "position": "2nd ring", "component": "synchroniser_ring"}],
            "unit": [{"unit": f"U{i}", "family": "K4"} for i in range(inspected)],
            "job": [
                {"job": f"J{i}", "unit": f"U{i}", "kind": "full_rebuild", "opened": day, "torn_down": day}
                for i in range(inspected)
            ],
            "finding": [
                {"job": f"J{i}", "position": "2nd ring", "grade": 3 if i < failed else 1} for i in range(inspected)
            ],
        },
    )
    row = shown(folder, "failure-rates", "--as-of", "2020-12-31")["rows"][0]
    assert (row["failed"], row["inspected"]) == (failed, inspected)
    assert row["rate_low"] == pytest.approx(low, abs=5e-5)
    assert row["rate_high"] == pytest.approx(high, abs=5e-5)
