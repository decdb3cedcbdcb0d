"""Count over many invented workshops how often intervals of responses and bearing makes hold what was planted."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

import polars as pl
import pytest
from scipy import stats

from analytics.bearing_makes import bearing_makes
from analytics.setting_history import SettingHistory
from demo_warehouse.simulation import simulate
from tests.history_in_memory import history_in_memory

END = dt.date(2026, 9, 30)
PLANTED_UM = -40.0  # pack change that the planted make asks for: it stands 0.040 mm higher, thicker raises the depth


@pytest.mark.long
def test_intervals_hold_the_planted_make_and_the_geometry(record_property: Callable[[str, object], None]) -> None:
    makes, slopes, false, looks = [], [], 0, 0
    for seed in range(1, 26):
        setting = SettingHistory(history_in_memory(simulate(None, seed), END))
        table = bearing_makes(setting.rows)
        here = (pl.col("family") == "T5 compact") & (pl.col("location") == "pinion flange")
        for row in table.filter(here & (pl.col("make") == "Zorbeth")).iter_rows(named=True):  # none where too few
            makes.append(row["effect_low"] <= PLANTED_UM <= row["effect_high"])
            assert row["effect_um"] < 0
        elsewhere = table.filter(~here)
        false, looks = false + elsewhere["stands_out"].sum(), looks + elsewhere.height
        for found in setting.responses:
            if found.theory is not None and found.slope is not None:
                slopes.append(found.slope.lower <= found.theory <= found.slope.upper)
    record_property("planted make inside its 95 % interval", f"{sum(makes)} of {len(makes)}")
    record_property("other makes that stand out", f"{false} of {looks}")
    record_property("geometry inside the 95 % interval of a response", f"{sum(slopes)} of {len(slopes)}")
    assert len(makes) >= 20
    assert stats.binomtest(sum(makes), len(makes), 0.95).pvalue > 0.01
    assert stats.binomtest(sum(slopes), len(slopes), 0.95, alternative="less").pvalue > 0.01
    assert false / looks <= 0.05
