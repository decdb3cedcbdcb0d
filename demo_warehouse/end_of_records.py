"""Cut the records at the scenario's last day: nothing that was not known by then may stand in them."""

from __future__ import annotations

from datetime import date

import polars as pl

Frames = dict[str, pl.DataFrame]

# record -> date column after which a row does not yet exist
_OWN_DATE = {
    "measurement": "read_on",
    "labour": "worked_on",
    "outside_work": "sent",
    "wait": "wait_from",
    "quote": "quoted_on",
    "money_line": "booked_on",
    "road_test": "tested_on",
    "comeback": "reported",
    "fitting": "fitted_from",
    "sighting": "seen",
    "gauge_check": "read_on",
    "stock": "counted_on",
    "price_list": "valid_from",
    "job": "opened",
}
# record -> date columns that are not filled yet, with what becomes known on that day
_LATER: dict[str, dict[str, tuple[str, ...]]] = {
    "job": {
        "torn_down": ("earlier_work", "gear_set_found"),
        "closed": (
            "scope", "declined", "refitted_by", "gear_set_built", "case_replaced", "invoiced_cents", "warranty_months",
            "warranty_distance_m",
        ),
        "delivered": (),
    },
    "comeback": {"settled": ("outcome", "payer", "position", "damage_mode", "cost_cents")},
    "fitting": {"fitted_to": ()},
    "outside_work": {"back": ("cost_cents", "price_cents")},
    "wait": {"wait_to": ()},
    "quote": {"answered_on": ("answer", "job")},
    "part_line": {"received": ()},
}  # fmt: skip


def _cut_later(frame: pl.DataFrame, later: dict[str, tuple[str, ...]], end: date) -> pl.DataFrame:
    for column, dependants in later.items():
        known = pl.col(column).is_null() | (pl.col(column) <= end)
        frame = frame.with_columns(
            [pl.when(known).then(pl.col(name)).otherwise(None).alias(name) for name in (*dependants, column)]
        )
    return frame


def cut_at_end(frames: Frames, end: date) -> Frames:
    """Return the frames without rows and fields that lie after `end`."""
    cut = dict(frames)
    for name, column in _OWN_DATE.items():
        cut[name] = cut[name].filter(pl.col(column).is_null() | (pl.col(column) <= end))
    for name, later in _LATER.items():
        cut[name] = _cut_later(cut[name], later, end)
    jobs = cut["job"].select(
        "job", pl.col("torn_down").is_not_null().alias("_torn"), pl.col("closed").is_not_null().alias("_closed")
    )
    for name in ("complaint", "finding", "measurement", "contact_pattern", "shim", "road_test", "part_line", "labour",
                 "outside_work", "wait", "money_line"):  # fmt: skip
        cut[name] = _with_jobs(name, cut[name], jobs, end)
    return cut


def _with_jobs(name: str, frame: pl.DataFrame, jobs: pl.DataFrame, end: date) -> pl.DataFrame:
    """Keep lines whose job has come as far as the line needs."""
    columns = frame.columns
    joined = frame.join(jobs, on="job", how="inner", maintain_order="left")
    if name == "finding":
        joined = joined.filter(pl.col("_torn")).with_columns(
            pl.when(pl.col("_closed")).then(pl.col("action")).otherwise(None).alias("action")
        )
    elif name == "shim":
        joined = joined.filter(pl.col("_closed") | ((pl.col("stage") == "as_found") & pl.col("_torn")))
    elif name == "contact_pattern":
        joined = joined.filter(pl.col("_closed"))
    elif name == "part_line":
        joined = joined.filter(pl.col("_closed") | (pl.col("ordered") <= end))
    return joined.select(columns)
