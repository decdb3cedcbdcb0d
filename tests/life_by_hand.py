"""Hold answers about lives, visits and units due, written by hand, for tests of pages and charts."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping

import polars as pl

from analytics.answer import Answer, Column
from analytics.history import History
from tests.answer_by_hand import answer_of

BENCH = "among units that came in"


def component_life(history: History, options: Mapping[str, str]) -> Answer:
    """Answer `component-life` by hand."""
    rows = pl.DataFrame(
        {
            "family": ["K40", "K40", "M5"], "position": ["pinion head bearing", "2nd ring", "3rd ring"],
            "component": ["bearing", "synchroniser_ring", "synchroniser_ring"], "group": [None, None, None],
            "population": ["on the road", BENCH, "on the road"], "b10": [92_000.0, 101_000.0, None],
            "b10_low": [70_000.0, 60_000.0, 40_000.0], "b10_high": [115_000.0, 160_000.0, None],
            "median": [210_000.0, None, None], "median_low": [180_000.0, None, None],
            "median_high": [260_000.0, None, None], "worn": [31, 12, 0], "lives": [212, 90, 20],
            "said": [None, None, "none of 20 worn"],
        },
        schema_overrides={"group": pl.String},
    )  # fmt: skip
    columns = (
        Column("family", "Family"), Column("position", "Position"), Column("component", "Component"),
        Column("group", "Group"), Column("population", "Speaks of"),
        Column("b10", "1 in 10 worn by", "B10", "km"), Column("b10_low", "from", unit="km"),
        Column("b10_high", "to", unit="km"), Column("median", "Half worn by", "median", "km"),
        Column("median_low", "from", unit="km"), Column("median_high", "to", unit="km"), Column("worn", "Worn"),
        Column("lives", "Lives"), Column("said", "If too few"),
    )  # fmt: skip
    steps = pl.DataFrame(
        {"from_km": [40_000.0, 90_000.0], "to_km": [50_000.0, 90_000.0], "mass": [0.05, 0.08], "share": [0.05, 0.13]}
    )
    fitted = pl.DataFrame(
        {"share": [0.02, 0.1, 0.5], "km": [50_000.0, 92_000.0, 210_000.0], "low": [30_000.0, 70_000.0, 180_000.0],
         "high": [66_000.0, 115_000.0, None]}
    )  # fmt: skip
    paper = pl.DataFrame(
        {
            "what": ["seen", "fitted", "fitted", "low", "low", "high", "high"],
            "km": [90_000.0, 50_000.0, 210_000.0, 30_000.0, 180_000.0, 66_000.0, 260_000.0],
            "share": [0.13, 0.02, 0.5, 0.02, 0.5, 0.02, 0.5],
        }
    ).with_columns((-(-pl.col("share")).log1p()).log().alias("height"))
    return answer_of(
        "component-life", history, rows, columns, grain="one for each family and position",
        curves={"steps": steps, "fitted": fitted, "paper": paper},
    )  # fmt: skip


def which_lasts_longer(history: History, options: Mapping[str, str]) -> Answer:
    """Answer `which-lasts-longer` by hand."""
    rows = pl.DataFrame(
        {
            "component": ["seal", "bearing"], "group": ["A", "B"], "others": ["the others", "C"],
            "population": [BENCH, "on the road"], "ratio": [0.48, None], "low": [0.33, None], "high": [0.65, None],
            "p_adjusted": [0.001, None], "worn": [66, 3], "other_worn": [14, 2],
            "said": [None, "too few to say (3 and 2 worn)"],
        }
    )  # fmt: skip
    columns = (
        Column("component", "Component"), Column("group", "Group"), Column("others", "Against"),
        Column("population", "Speaks of"), Column("ratio", "Times as far", "ratio of lives", "factor"),
        Column("low", "from", unit="factor"), Column("high", "to", unit="factor"),
        Column("p_adjusted", "p, all looks", "adjusted"), Column("worn", "Worn"), Column("other_worn", "Others worn"),
        Column("said", "If too few"),
    )  # fmt: skip
    return answer_of("which-lasts-longer", history, rows, columns, grain="one for each component and maker")


def visits_per_unit(history: History, options: Mapping[str, str]) -> Answer:
    """Answer `visits-per-unit` by hand."""
    groups = ["all"] if options.get("by", "all") == "all" else ["K40", "M5"]
    rows = pl.DataFrame(
        [
            {"group": g, "months": m, "visits": 0.3 * m / 12, "low": 0.2 * m / 12, "high": 0.4 * m / 12,
             "at_risk": 90 - m, "units": 100, "counted": 60, "said": None}
            for g in groups for m in (12, 24, 36, 60)
        ],
        schema_overrides={"said": pl.String},
    )  # fmt: skip
    columns = (
        Column("group", "Group"), Column("months", "Within", "months followed", "months"),
        Column("visits", "Visits a unit", "mean cumulative number"), Column("low", "from"), Column("high", "to"),
        Column("at_risk", "Still followed"), Column("units", "Units"), Column("counted", "Visits"),
        Column("said", "If too few"),
    )  # fmt: skip
    curve = pl.DataFrame(
        [
            {"group": g, "days": float(d), "visits": d / 1200, "low": d / 1500, "high": d / 1000, "at_risk": 50,
             "standard_error": 0.1}
            for g in groups for d in (100, 300, 700)
        ]
    )  # fmt: skip
    return answer_of("visits-per-unit", history, rows, columns, grain="one for each time", curves={"visits": curve})


def due_for_rebuild(history: History, options: Mapping[str, str]) -> Answer:
    """Answer `due-for-rebuild` by hand."""
    rows = pl.DataFrame(
        {
            "fleet": ["Fleet A", "Fleet A", "Fleet B"], "unit": [None, "U1", None], "units": [120, None, 40],
            "expected": [31.2, None, 6.5], "low": [24, None, 3], "high": [39, None, 11], "last_year": [36, None, 8],
            "chance": [None, 0.71, None], "run": [None, 254_000.0, None], "what": [None, "2nd ring", None],
        }
    )  # fmt: skip
    columns = (
        Column("fleet", "Fleet"), Column("unit", "Unit", "empty: the whole fleet"), Column("units", "Running units"),
        Column("expected", "Expected in", "units within 12 months"), Column("low", "from"), Column("high", "to"),
        Column("last_year", "Last year", "the plain rule"), Column("chance", "Chance", "of this unit", "share"),
        Column("run", "Has run", "the unit's own distance", "km"), Column("what", "Likeliest for"),
    )  # fmt: skip
    backtest = pl.DataFrame(
        {
            "fleet": ["Fleet A", "Fleet B"], "as_of": [dt.date(2023, 1, 1), dt.date(2023, 1, 1)], "units": [110, 38],
            "expected": [30.0, 6.0], "low": [23, 3], "high": [37, 10], "came": [28, 7], "last_year": [33, 5],
        }
    )  # fmt: skip
    return answer_of("due-for-rebuild", history, rows, columns, grain="one for each fleet, then its likeliest units",
                     curves={"backtest": backtest})  # fmt: skip


LIFE_BY_HAND: dict[str, Callable[[History, Mapping[str, str]], Answer]] = {
    "component-life": component_life,
    "which-lasts-longer": which_lasts_longer,
    "visits-per-unit": visits_per_unit,
    "due-for-rebuild": due_for_rebuild,
}
