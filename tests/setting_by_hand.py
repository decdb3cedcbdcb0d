"""Hold answers about setting written by hand, in the shape of the real ones, for tests of pages and charts."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping

import polars as pl

from analytics.answer import Answer, Column
from analytics.history import History
from tests.answer_by_hand import answer_of


def first_try_shims(history: History, options: Mapping[str, str]) -> Answer:
    """Answer `first-try-shims` by hand."""
    rows = pl.DataFrame(
        {
            "location": ["behind pinion head", "pinion spacer", "left adjuster"], "pack_um": [1250.0, 820.0, None],
            "pack_low": [1200.0, 790.0, None], "pack_high": [1300.0, 850.0, None], "next_um": [1262.0, None, None],
            "next_low": [1255.0, None, None], "next_high": [1269.0, None, None],
            "pieces": ["0.250 + 1.000", "0.120 + 0.200 + 0.500", None],
            "said": [None, None, "threaded adjusters are turned notch by notch: no pack to choose"],
        }
    )  # fmt: skip
    columns = (
        Column("location", "Location"), Column("pack_um", "Try first", "pack", "um"),
        Column("pack_low", "from", unit="um"), Column("pack_high", "to", unit="um"), Column("said", "If no answer"),
        Column("pieces", "Pieces on hand", "fewest within limits"), Column("next_um", "After the trial", unit="um"),
        Column("next_low", "from", unit="um"), Column("next_high", "to", unit="um"),
    )  # fmt: skip
    return answer_of("first-try-shims", history, rows, columns, grain="one for each location")


def response(history: History, options: Mapping[str, str]) -> Answer:
    """Answer `response` by hand."""
    rows = pl.DataFrame(
        {
            "family": ["K40", "K40", "M5"], "location": ["behind pinion head", "pinion spacer", "input shaft end"],
            "moves": [-1.02, -48.0, 0.97], "moves_low": [-1.06, -50.0, 0.9], "moves_high": [-0.98, -46.0, 1.04],
            "theory": [-1.0, None, 1.0], "jobs": [30, 22, 41], "verdict": ["as by geometry", None, "as by geometry"],
        }
    )  # fmt: skip
    columns = (
        Column("family", "Family"), Column("location", "Location"), Column("moves", "Moves", "mm per mm"),
        Column("moves_low", "from"), Column("moves_high", "to"), Column("theory", "By geometry"),
        Column("verdict", "Verdict"), Column("jobs", "Jobs"),
    )  # fmt: skip
    return answer_of("response", history, rows, columns, grain="one for each location")


def how_close_we_set(history: History, options: Mapping[str, str]) -> Answer:
    """Answer `how-close-we-set` by hand."""
    rows = pl.DataFrame(
        {
            "quantity": ["pinion_depth", "backlash"], "group": [None, None], "share_out": [0.3, 0.2],
            "share_out_low": [0.22, 0.13], "share_out_high": [0.39, 0.29], "first_out": [33, 20], "jobs": [110, 100],
            "ppk": [0.4, 0.6], "ppk_low": [0.3, 0.5], "ppk_high": [0.5, 0.7],
        },
        schema_overrides={"group": pl.String},
    )  # fmt: skip
    columns = (
        Column("quantity", "Reading"), Column("share_out", "First trials out", unit="share"),
        Column("share_out_low", "from", unit="share"), Column("share_out_high", "to", unit="share"),
        Column("jobs", "First trials"), Column("ppk", "Ppk"), Column("ppk_low", "from"), Column("ppk_high", "to"),
    )  # fmt: skip
    trials = pl.DataFrame(
        {
            "number": range(1, 21), "job": [f"J/24-{n}" for n in range(20)],
            "place": [0.1 * ((7 * n) % 11 - 5) for n in range(20)], "centre": 0.0, "lower": -1.4, "upper": 1.4,
        }
    )  # fmt: skip
    return answer_of(
        "how-close-we-set", history, rows, columns, grain="one for each reading", curves={"individuals": trials}
    )


def gauge_check(history: History, options: Mapping[str, str]) -> Answer:
    """Answer `gauge-check` by hand."""
    rows = pl.DataFrame(
        {
            "instrument": ["DG2", "DG1"], "quantity": ["pinion_depth", "pinion_depth"],
            "verdict": ["reads high", "in order"], "off_um": [22.0, None], "off_low": [18.0, None],
            "off_high": [26.0, None], "since": [dt.date(2024, 3, 1), None], "jobs_since": [14, None],
        }
    )  # fmt: skip
    columns = (
        Column("instrument", "Gauge"), Column("quantity", "Reads"), Column("verdict", "Verdict"),
        Column("off_um", "Off by", unit="um"), Column("off_low", "from", unit="um"),
        Column("off_high", "to", unit="um"),
        Column("since", "Since about"), Column("jobs_since", "Jobs since"),
    )  # fmt: skip
    days = pl.date_range(pl.date(2023, 1, 1), pl.date(2024, 12, 1), "1mo", eager=True)
    masters = pl.DataFrame({"day": days}).with_row_index("n").select(
        pl.lit("DG2").alias("instrument"), pl.lit("pinion_depth").alias("quantity"), "day",
        (pl.col("n").cast(pl.Float64) - 8).alias("error_um"), (pl.col("n").cast(pl.Float64) - 9).alias("mean_um"),
        pl.lit(-6.0).alias("lower_um"), pl.lit(6.0).alias("upper_um"),
    )  # fmt: skip
    return answer_of("gauge-check", history, rows, columns, grain="one for each gauge", curves={"masters": masters})


def shim_demand(history: History, options: Mapping[str, str]) -> Answer:
    """Answer `shim-demand` by hand."""
    rows = pl.DataFrame(
        {
            "family": ["K40", "K40"], "location": ["behind pinion head"] * 2, "thickness_um": [150, 250],
            "per_100_jobs": [32.0, 12.0], "per_100_low": [24.0, 7.0], "per_100_high": [42.0, 19.0],
            "keep": [True, False], "pieces": [32, 12], "jobs": [100, 100],
        }
    )  # fmt: skip
    columns = (
        Column("family", "Family"), Column("location", "Location"), Column("thickness_um", "Thickness", unit="um"),
        Column("per_100_jobs", "Per 100 jobs"), Column("per_100_low", "from"), Column("per_100_high", "to"),
        Column("keep", "Keep"), Column("pieces", "Pieces"), Column("jobs", "Jobs"),
    )  # fmt: skip
    return answer_of("shim-demand", history, rows, columns, grain="one for each location and thickness")


SETTING_BY_HAND: dict[str, Callable[[History, Mapping[str, str]], Answer]] = {
    "first-try-shims": first_try_shims,
    "response": response,
    "how-close-we-set": how_close_we_set,
    "gauge-check": gauge_check,
    "shim-demand": shim_demand,
}
