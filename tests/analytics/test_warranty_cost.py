"""What a warranty costs, on a small workshop whose money is added up by hand beside each figure."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest

from tests.small_workshop import load_rows, shown

D = dt.date
DELIVERED = D(2020, 1, 10)
AS_OF = "2024-01-01"


@pytest.fixture(scope="module")
def records(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Load 20 registered units rebuilt on one day with 12 months sold; the last 8 in part; J05 retired on day 100.

    Comebacks, by days since delivery and km run since: what they cost us after the supplier's credit.
    J00 30 d, 2,000 km, our work: 300. J01 60 d, 30,000 km, our work: 500. J02 90 d, 4,000 km, a part: 400 less 250
    credited = 150; its job C02 comes back on day 250 of J02's time: our work, 60. J03 200 d, 9,000 km, nothing found,
    the customer paid: 0. J06 300 d, 12,000 km, our work, goodwill: 100. J04 400 d, 15,000 km, our work, after the
    warranty, so that the customer paid: under a longer one it would have cost the mean of our work in warranty,
    (300 + 500 + 60 + 100) / 4 = 240.
    """
    comebacks = [
        _back("J00", 30, 2_000, "our_work", "us", 300), _back("J01", 60, 30_000, "our_work", "us", 500),
        _back("J02", 90, 4_000, "part", "supplier", 400, comeback_job="C02"),
        _back("C02", 250, 8_000, "our_work", "us", 60),
        _back("J03", 200, 9_000, "no_fault_found", "customer", 0), _back("J06", 300, 12_000, "our_work", "goodwill", 100),
        _back("J04", 400, 15_000, "our_work", "customer", 0),
    ]  # fmt: skip
    opened = DELIVERED + dt.timedelta(days=92)
    again = {"job": "C02", "unit": "U02", "kind": "part_rebuild", "opened": opened, "closed": opened, "delivered": opened,
             "warranty_months": 12, "odometer": 104_000}  # fmt: skip
    return load_rows(
        tmp_path_factory.mktemp("warranty"),
        {
            "family": [{"family": "K4", "kind": "gearbox"}],
            "unit": [{"unit": f"U{i:02}", "family": "K4", "register_entry": D(2019, 1, 1)} for i in range(20)],
            "job": [*(_job(i) for i in range(20)), again],
            "comeback": comebacks,
            "money_line": [{"job": "C02", "money_kind": "supplier_credit", "amount": 250, "booked_on": D(2020, 6, 1)}],
            "sighting": [
                {"unit": "U05", "seen": DELIVERED + dt.timedelta(days=100), "state": "retired", "source": "register"}
            ],
        },
    )


def _job(i: int) -> dict[str, Any]:
    kind = "full_rebuild" if i < 12 else "part_rebuild"
    return {"job": f"J{i:02}", "unit": f"U{i:02}", "kind": kind, "opened": D(2020, 1, 1), "closed": DELIVERED,
            "delivered": DELIVERED, "warranty_months": 12, "odometer": 100_000}  # fmt: skip


def _back(job: str, days: int, km: int, outcome: str, payer: str, cost: int, **more: Any) -> dict[str, Any]:
    reported = DELIVERED + dt.timedelta(days=days)
    return {"original_job": job, "reported": reported, "settled": reported, "outcome": outcome, "payer": payer,
            "odometer": 100_000 + km, "cost": cost, **more}  # fmt: skip


def _all(records: Path, *options: str) -> dict[str, Any]:
    row: dict[str, Any] = shown(records, "warranty-cost", "--as-of", AS_OF, *options)["rows"][0]
    return row


def test_cost_a_job_within_the_warranty_sold(records: Path) -> None:
    row = _all(records, "--months", "12")
    # 20 jobs followed to day 100, 19 afterwards; C02 was not sold, and comes back on J02's account.
    assert row["cost"] == pytest.approx((300 + 500 + 150) / 20 + (0 + 60 + 100) / 19)
    assert row["comebacks"] == pytest.approx(3 / 20 + 3 / 19)
    assert row["cost_each"] == pytest.approx(row["cost"] / row["comebacks"])
    assert (row["jobs"], row["events"], row["at_risk"], row["beyond"]) == (20, 6, 19, 0)
    assert row["low"] < row["cost"] < row["high"]
    assert row["low"] * row["high"] == pytest.approx(row["cost"] ** 2)


def test_months_beyond_what_was_sold_cost_what_they_would_have_cost_us(records: Path) -> None:
    row = _all(records, "--months", "24")
    sold = (300 + 500 + 150) / 20 + (0 + 60 + 100) / 19
    assert row["cost"] == pytest.approx(sold + 240 / 19)
    assert row["beyond"] == pytest.approx(240 / 19 / (sold + 240 / 19))
    answer = shown(records, "warranty-cost", "--as-of", AS_OF, "--months", "24")
    filled = next(line for line in answer["assumptions"] if line["rule"].startswith("Cost as recorded"))
    assert (filled["included"], filled["left_out"]) == (6, 1)


def test_kilometres_end_a_warranty_too(records: Path) -> None:
    # 14,999 km leave out J01 (30,000) and J04 (15,000); every distance is read, so that nothing is drawn.
    row = _all(records, "--months", "24", "--km", "14999")
    assert row["cost"] == pytest.approx((300 + 150) / 20 + (0 + 60 + 100) / 19)
    assert row["events"] == 5
    assert row["low"] * row["high"] == pytest.approx(row["cost"] ** 2)


def test_a_kind_with_too_few_comebacks_says_so(records: Path) -> None:
    rows = {row["kind"]: row for row in shown(records, "warranty-cost", "--as-of", AS_OF)["rows"]}
    assert list(rows) == ["all", "full_rebuild", "part_rebuild"]
    assert rows["full_rebuild"]["cost"] == pytest.approx((300 + 500 + 150) / 12 + (0 + 60 + 100) / 11)
    assert rows["part_rebuild"]["cost"] is None
    assert rows["part_rebuild"]["said"] == "too few to say (0 of 5 comebacks)"


def test_a_credit_counts_from_the_day_it_is_booked(records: Path) -> None:
    # On 2020-12-01 the credit is known; on 2020-05-15 it is not, and J02 has cost 400.
    before = shown(records, "warranty-cost", "--as-of", "2020-12-01", "--months", "6")["rows"][0]
    assert before["said"] == "too few to say (3 of 5 comebacks)"
    curve = shown(records, "warranty-cost", "--as-of", "2020-05-15")["curves"]["months"]
    assert curve[3]["cost"] == pytest.approx((300 + 500 + 400) / 20)  # by month 3, J02's day 90 included
