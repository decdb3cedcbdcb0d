"""Hold answers about recurring faults, comparisons, expectations and warranty, written by hand, for tests of pages."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping

import polars as pl

from analytics import compare as compare_question
from analytics import goes_before_comebacks as goes_before_question
from analytics import warranty_cost as warranty_question
from analytics import watch as watch_question
from analytics import what_to_expect as expect_question
from analytics.answer import Answer
from analytics.history import History
from analytics.watch_power import POWER_SCHEMA
from tests.answer_by_hand import answer_of

DAY = dt.date(2024, 3, 1)


def _shaped(rows: list[dict[str, object]], schema: Mapping[str, pl.DataType | type[pl.DataType]]) -> pl.DataFrame:
    return pl.DataFrame([{name: row.get(name) for name in schema} for row in rows], schema=dict(schema))


def watch(history: History, options: Mapping[str, str]) -> Answer:
    """Answer `watch` by hand."""
    alarm: dict[str, object] = {
        "chart": "lots / North Rings / RING-2 / 24-07", "what": "lot 24-07 of RING-2 from North Rings comes back",
        "kind": "lots", "component": "synchroniser_ring", "supplier": "North Rings", "part": "RING-2", "lot": "24-07",
        "since": DAY, "raised": dt.date(2024, 6, 2), "seen": 6, "expected": 0.8, "ratio": 7.5, "low": 2.8, "high": 16.3,
        "odds_ratio": 9.1, "odds_low": 2.9, "odds_high": 28.0, "fitted": 80, "still_out": 21, "in_warranty": 9,
        "on_shelf": 12.0, "shelf_note": "counted 2024-06-01", "claim": 640.0, "credited": 120.0,
    }  # fmt: skip
    known = {**alarm, "chart": "findings / K40 / bearing / spalling", "what": "bearing of K40: spalling found",
             "kind": "findings", "acknowledged_on": dt.date(2024, 7, 1), "note": "new grease"}  # fmt: skip
    power = pl.DataFrame(
        [(odds, fitted, fitted * odds * 0.006, min(odds * fitted / 2000, 1.0)) for odds in (4.0, 8.0, 20.0)
         for fitted in (30, 60, 100)], schema=POWER_SCHEMA, orient="row",
    )  # fmt: skip
    return answer_of(
        "watch", history, _shaped([alarm, known], watch_question.SCHEMA), watch_question.COLUMNS,
        grain="one row per alarm", curves={"power": power},
    )  # fmt: skip


def compare(history: History, options: Mapping[str, str]) -> Answer:
    """Answer `compare` by hand."""
    rows: list[dict[str, object]] = [
        {"group": name, "ratio": ratio, "low": ratio / 2, "high": ratio * 2, "shrunk": (1 + ratio) / 2,
         "shrunk_low": ratio / 2, "shrunk_high": 1 + ratio, "observed": 10.0 * ratio, "expected": 10.0, "chance": 0.2,
         "stands_out": False, "beyond_funnel": False, "jobs": 200, "jobs_needed": 900, "alone": 0.0}
        for name, ratio in (("slider reused with new rings", 2.1), ("came loose", 0.8))
    ]  # fmt: skip
    few: dict[str, object] = {"group": "a seal reused", "observed": 0.0, "expected": 0.4, "said": "too few to say"}
    limits = pl.DataFrame(
        {"expected": [1.0, 5.0, 20.0], "chance_low": [0.0, 0.3, 0.6], "chance_high": [4.0, 2.2, 1.5],
         "spread_low": [0.0, 0.2, 0.4], "spread_high": [5.0, 2.6, 1.9]}
    )  # fmt: skip
    return answer_of(
        "compare", history, _shaped([*rows, few], compare_question.SCHEMA), compare_question.columns_of("practice"),
        grain="one row per practice", curves={"funnel": limits},
    )  # fmt: skip


def goes_before_comebacks(history: History, options: Mapping[str, str]) -> Answer:
    """Answer `goes-before-comebacks` by hand."""
    rows: list[dict[str, object]] = [
        {"kind": "practice", "mark": "slider reused with new rings", "odds_ratio": 2.6, "low": 1.4, "high": 5.0,
         "back_with": 40, "jobs_with": 280, "back_without": 16, "jobs_without": 270, "stands_out": True, "chance": 0.02},
        {"kind": "finding", "mark": "bearing found failed: spalling", "odds_ratio": 1.1, "low": 0.4, "high": 2.8,
         "back_with": 7, "jobs_with": 87, "back_without": 57, "jobs_without": 626, "stands_out": False, "chance": 0.9},
    ]  # fmt: skip
    return answer_of(
        "goes-before-comebacks", history, _shaped(rows, goes_before_question.SCHEMA),
        goes_before_question.columns_of("comebacks"), grain="one row per practice or finding",
    )  # fmt: skip


def what_to_expect(history: History, options: Mapping[str, str]) -> Answer:
    """Answer `what-to-expect` by hand."""
    positions = pl.DataFrame(
        {
            "position": ["2nd synchroniser ring", "input seal"], "component": ["synchroniser_ring", "seal"],
            "probability": [0.62, 0.08], "low": [0.4, 0.02], "high": [0.8, 0.2], "plain": [0.3, 0.1],
            "times": [2.07, 0.8], "clues": ["crunch, cold (7.4)", None], "failed": [88, 20], "inspected": [260, 260],
        }
    )  # fmt: skip
    parts = pl.DataFrame(
        {"part": ["RING-2", "SEAL-IN"], "probability": [0.7, 0.95], "pieces": [1.2, 1.0], "positions": ["2nd", "input"]}
    )
    bands = pl.DataFrame(
        {
            "stated": [0.02, 0.3],
            "happened": [0.03, 0.28],
            "low": [0.01, 0.2],
            "high": [0.05, 0.4],
            "cases": [900.0, 90.0],
        }
    )
    return answer_of(
        "what-to-expect", history, positions, expect_question.COLUMNS, grain="one row per component position",
        curves={"parts": parts, "bands": bands},
    )  # fmt: skip


def warranty_cost(history: History, options: Mapping[str, str]) -> Answer:
    """Answer `warranty-cost` by hand."""
    rows: list[dict[str, object]] = [
        {"kind": kind, "cost": cost, "low": cost * 0.8, "high": cost * 1.3, "comebacks": 0.1, "cost_each": cost * 10,
         "events": 80, "jobs": 640, "at_risk": 440, "beyond": 0.05}
        for kind, cost in (("all", 18.0), ("full_rebuild", 26.0))
    ]  # fmt: skip
    few: dict[str, object] = {"kind": "reseal", "events": 3, "jobs": 90, "said": "too few to say (3 of 5 comebacks)"}
    months = pl.DataFrame(
        {"at": [0.0, 12.0, 24.0], "cost": [0.0, 18.0, 30.0], "low": [0.0, 14.0, 24.0], "high": [0.0, 23.0, 38.0],
         "at_risk": [1200, 800, 500]}
    )  # fmt: skip
    return answer_of(
        "warranty-cost", history, _shaped([*rows, few], warranty_question.SCHEMA), warranty_question.COLUMNS,
        grain="one row per job kind", curves={"months": months},
    )  # fmt: skip


COMEBACKS_BY_HAND: dict[str, Callable[[History, Mapping[str, str]], Answer]] = {
    "watch": watch,
    "compare": compare,
    "goes-before-comebacks": goes_before_comebacks,
    "what-to-expect": what_to_expect,
    "warranty-cost": warranty_cost,
}
