"""Hold answers written by hand, in the shape of the real ones, for tests of pages and charts."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import polars as pl

from analytics.answer import Answer, Column
from analytics.history import History
from analytics.question import Option, Question
from tests.answer_by_hand import answer_of
from tests.comeback_by_hand import COMEBACKS_BY_HAND
from tests.life_by_hand import LIFE_BY_HAND
from tests.setting_by_hand import SETTING_BY_HAND

POSITIONS = (
    ("K40", "pinion head bearing", "bearing", 31, 212),
    ("K40", "crown wheel and pinion", "crown_wheel_pinion", 12, 212),
    ("M5", "2nd synchroniser ring", "synchroniser_ring", 88, 260),
    ("M5", "3rd and 4th slider", "slider", 24, 260),
    ("M5", "input shaft bearing, drive end", "bearing", 40, 260),
    ("T2", "drive chain", "chain", 0, 3),
)


def failure_rates(history: History, options: Mapping[str, str]) -> Answer:
    """Answer `failure-rates` by hand."""
    places = [p for p in POSITIONS if history.scope.family in (None, p[0])]
    rows = pl.DataFrame(
        {
            "family": [p[0] for p in places], "position": [p[1] for p in places], "component": [p[2] for p in places],
            "failed": [p[3] for p in places], "inspected": [p[4] for p in places],
            "rate": [p[3] / p[4] if p[4] >= 10 else None for p in places],
            "rate_low": [0.8 * p[3] / p[4] if p[4] >= 10 else None for p in places],
            "rate_high": [1.2 * p[3] / p[4] + 0.01 if p[4] >= 10 else None for p in places],
            "said": [None if p[4] >= 10 else f"too few to say ({p[4]} of 10 inspected)" for p in places],
            "group": [None] * len(places),
        },
        schema_overrides={"group": pl.String, "rate": pl.Float64, "rate_low": pl.Float64, "rate_high": pl.Float64},
    )  # fmt: skip
    columns = (
        Column("family", "Family"), Column("position", "Position"), Column("component", "Component"),
        Column("rate", "Found failed", "failed of those inspected", "share"), Column("rate_low", "from", unit="share"),
        Column("rate_high", "to", unit="share"), Column("failed", "Failed"),
        Column("inspected", "Inspected", "component positions inspected in full teardowns"),
        Column("said", "If too few"),
    )  # fmt: skip
    years = pl.DataFrame(
        {"year": [2021, 2022, 2023, 2024], "failed": [20, 25, 30, 40], "inspected": [100, 110, 105, 108],
         "rate": [0.20, 0.227, 0.286, 0.370], "low": [0.13, 0.16, 0.21, 0.29], "high": [0.29, 0.31, 0.38, 0.46]}
    )  # fmt: skip
    return answer_of("failure-rates", history, rows, columns, curves={"by_year": years})


def shim_corrections(history: History, options: Mapping[str, str]) -> Answer:
    """Answer `shim-corrections` by hand."""
    rows = pl.DataFrame(
        {
            "family": ["K40", "K40", "M5"], "location": ["behind pinion head", "behind pinion head", "input shaft end"],
            "gear_set": ["kept", "changed", "kept"], "jobs": [44, 12, 80], "mean_um": [62.0, -14.0, 5.0],
            "mean_low": [40.0, -60.0, -4.0], "mean_high": [84.0, 32.0, 14.0],
            "mean_absolute_um": [66.0, 40.0, 12.0], "found_out": [20, 6, 11],
            "found_checked": [44, 12, 80], "share_out": [0.4545, 0.5, 0.1375],
            "share_out_low": [0.31, 0.25, 0.08], "share_out_high": [0.6, 0.75, 0.23],
        }
    )  # fmt: skip
    columns = (
        Column("family", "Family"), Column("location", "Shim location"), Column("gear_set", "Gear set"),
        Column("jobs", "Jobs"), Column("mean_um", "Mean correction", unit="um"), Column("mean_low", "from", unit="um"),
        Column("mean_high", "to", unit="um"), Column("found_out", "Found out"), Column("found_checked", "Checked"),
        Column("share_out", "Share out", unit="share"), Column("share_out_low", "from", unit="share"),
        Column("share_out_high", "to", unit="share"),
    )  # fmt: skip
    return answer_of("shim-corrections", history, rows, columns, grain="one for each location, kept and changed apart")


def comebacks(history: History, options: Mapping[str, str]) -> Answer:
    """Answer `comebacks` by hand."""
    groups = ("all",) if options.get("by", "all") == "all" else ("K40", "M5")
    told = [
        (group, ours, months, 0.004 * months * (0.6 if ours else 1), 0.003 * months, 0.005 * months, 1000 - 30 * months)
        for group in groups
        for ours in (False, True)
        for months in (3, 6, 12, 24)
    ]
    rows = pl.DataFrame(told, schema=["group", "ours", "months", "share", "low", "high", "at_risk"], orient="row")
    rows = rows.with_columns(jobs=pl.lit(1200), comebacks=pl.lit(60), said=pl.lit(None, dtype=pl.String))
    columns = (
        Column("group", "Group"), Column("ours", "Ours only"), Column("months", "By month", unit="months"),
        Column("share", "Came back", unit="share"), Column("low", "from", unit="share"),
        Column("high", "to", unit="share"), Column("at_risk", "Still observed"), Column("jobs", "Jobs"),
        Column("comebacks", "Comebacks"), Column("said", "If too few"),
    )  # fmt: skip
    curves = {"months": _curves(range(25), 1), "distance": _curves(range(0, 100, 5), 5)}
    return answer_of("comebacks", history, rows, columns, grain="one row for each time since delivery", curves=curves)


def _curves(ats: range, unit: int) -> pl.DataFrame:
    told = []
    for rule, slope in (
        ("observed", 1.0),
        ("as if all were followed", 0.6),
        ("independent sightings only", 1.5),
        ("as if silent units were gone", 2.0),
    ):
        for ours in (False, True):
            for at in ats:
                share = 0.004 * slope * (at / unit) * (0.6 if ours else 1)
                told.append((rule, ours, float(at), share, share * 0.8, share * 1.25, 1000 - 20 * (at // unit)))
    return pl.DataFrame(told, schema=["rule", "ours", "at", "share", "low", "high", "at_risk"], orient="row")


def parts_usage(history: History, options: Mapping[str, str]) -> Answer:
    """Answer `parts-usage` by hand."""
    parts = [f"B-{100 + n}" for n in range(15)]
    rows = pl.DataFrame(
        {
            "part": parts, "description": [f"bearing number {n}" for n in range(15)], "component": ["bearing"] * 15,
            "used_last_12_months": [60.0 - 3 * n for n in range(15)], "per_100_jobs": [40.0 - 2 * n for n in range(15)],
            "change_per_year": [0.25 - 0.03 * n for n in range(15)], "change_low": [0.1 - 0.03 * n for n in range(15)],
            "change_high": [0.42 - 0.03 * n for n in range(15)],
            "spend_last_12_months": [3000.0 - 180 * n for n in range(15)],
        }
    )  # fmt: skip
    columns = (
        Column("part", "Part"), Column("description", "What it is"), Column("component", "Component"),
        Column("used_last_12_months", "Used in the last 12 months", unit="pieces"),
        Column("per_100_jobs", "For 100 jobs", unit="pieces"),
        Column("change_per_year", "Change a year", unit="share"), Column("change_low", "from", unit="share"),
        Column("change_high", "to", unit="share"),
        Column("spend_last_12_months", "Spent in the last 12 months", unit="money"),
    )  # fmt: skip
    months = pl.date_range(pl.date(2022, 1, 1), pl.date(2024, 12, 1), "1mo", eager=True)
    monthly = pl.DataFrame({"month": months}).join(pl.DataFrame({"name": parts, "n": range(15)}), how="cross")
    monthly = monthly.with_columns(
        pieces=((pl.col("n") * 7 + pl.col("month").dt.month() * 5) % 9 + 1).cast(pl.Float64), spend=pl.lit(50.0)
    ).drop("n")
    return answer_of("parts-usage", history, rows, columns, grain="one for each part", curves={"monthly": monthly})


def first_jobs(history: History, row: Mapping[str, str]) -> pl.DataFrame:
    """Return every job on record as the jobs behind a row."""
    return history.query(
        """
        select j.job, j.unit, u.family, j.kind, j.opened, j.delivered, j.technician, 'private owners' as fleet,
               'found failed' as because
        from known_job j join known_unit u on u.unit = j.unit order by j.job
        """
    )


BY = Option("by", "split by", ("none", "supplier", "technician"), "none")
CASE = tuple(
    Option(name, f"the {name.replace('-', ' ')}") for name in ("location", "bearing", "pack-found", "reading", "trial")
)
OF = Option("by", "what one row stands for", ("all", "family"), "all")


def questions_by_hand() -> dict[str, Question]:
    """Return the questions, answered by hand."""
    told: dict[str, Callable[[History, Mapping[str, str]], Answer]] = {
        "failure-rates": failure_rates,
        "shim-corrections": shim_corrections,
        "comebacks": comebacks,
        "parts-usage": parts_usage,
        **SETTING_BY_HAND,
        **LIFE_BY_HAND,
        **COMEBACKS_BY_HAND,
    }
    return {
        name: Question(
            name,
            "by hand",
            "tests",
            ask,
            {"failure-rates": (BY,), "comebacks": (OF,), "first-try-shims": CASE}.get(name, ()),
            first_jobs,
        )
        for name, ask in told.items()
    }
