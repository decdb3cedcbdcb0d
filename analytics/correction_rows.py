"""Turn packs as found and as built into corrections, the marking of a changed gear set taken out."""

from __future__ import annotations

import polars as pl

from analytics.setting_history import SettingHistory

GROUPS = {
    "nothing": None,
    "bearing condition": "bearing",
    "bearing make": "make",
    "casing": "casing",
    "earlier work": "earlier_work",
}

_MARKED = """
select distinct l.family, l.location, true as carries_marking
from known_specification as s
join known_shim_location as l
  on l.family = s.family and l.quantity = s.quantity and (s.location is null or s.location = l.location)
where s.basis = 'constant_plus_marked_deviation'
"""
_LIMITS = """
select l.family, l.location, max(s.lower) as found_lower, min(s.upper) as found_upper
from known_specification as s
join known_shim_location as l
  on l.family = s.family and l.quantity = s.quantity and (s.location is null or s.location = l.location)
where s.basis = 'constant' and coalesce(s.gear_set_condition, 'any') <> 'new'
  and coalesce(s.bearing_condition, 'any') <> 'new'
group by all
"""


def correction_rows(setting: SettingHistory) -> pl.DataFrame:
    """Return one row per job and place with both packs on record.

    Columns: those of `set_rows`; correction (um, as built less as found; a pair of side packs in full difference),
    net (um, correction with the change of marking taken out under the location's sign; null where a changed set's
    marking is not on record), casing (kept, replaced), found_out (as-found reading outside the limits of used parts;
    null where not read, or where the limits rest on this very reading).
    """
    history = setting.history
    full = pl.when(pl.col("coordinate") == "shift").then(2.0).otherwise(1.0)
    rows = (
        setting.rows.filter(pl.col("found_pack").is_not_null() & pl.col("built_pack").is_not_null())
        .join(history.query(_MARKED), on=["family", "location"], how="left", maintain_order="left")
        .join(history.query(_LIMITS), on=["family", "location"], how="left", maintain_order="left")
    )
    marking = pl.col("sign") * (pl.col("marking_built") - pl.col("marking_found"))
    carries = pl.col("carries_marking").fill_null(False) & (pl.col("coordinate") == "pack")
    correction = full * (pl.col("built_pack") - pl.col("found_pack"))
    changed = (pl.col("gear_set") == "changed") & carries
    reading, low, high = (pl.col(name) for name in ("found_reading", "found_lower", "found_upper"))
    no_limit = low.is_null() & high.is_null()
    outside = (reading < low).fill_null(False) | (reading > high).fill_null(False)
    return rows.with_columns(
        correction.alias("correction"),
        pl.when(changed).then(correction - marking).otherwise(correction).alias("net"),
        pl.when(pl.col("case_replaced")).then(pl.lit("replaced")).otherwise(pl.lit("kept")).alias("casing"),
        pl.when(reading.is_null() | no_limit).then(None).otherwise(outside).alias("found_out"),
        pl.col("make").fill_null("not known"), pl.col("bearing").fill_null("not known"),
    )  # fmt: skip
