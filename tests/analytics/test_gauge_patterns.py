"""Contact patterns tell of a gauge that sets the pinion wrong, by sense, and are silent in ordinary work."""

from __future__ import annotations

import datetime as dt

import numpy as np
import polars as pl
import pytest
from scipy import stats

from analytics.gauge_patterns import REFUSED, PatternChart, pattern_charts

START = dt.date(2018, 1, 1)
GAUGES = ("A", "B", "C")
GONE_OFF = START + dt.timedelta(days=7 * 260)


def jobs(seed: int, drifted: str | None = None, profile: str = "flank", refused: bool = False) -> pl.DataFrame:
    """Return ten years of patterns, one job a week a gauge; from the sixth year on half of one gauge's are off."""
    rng = np.random.default_rng(seed)
    rows = []
    for week in range(520):
        for gauge in GAUGES:
            gear_set = "changed" if rng.random() < 0.4 else "kept"
            drawn = rng.random()
            seen = "flank" if drawn < 0.06 else "face" if drawn < 0.12 else "centre"
            passed = rng.random() > 0.04
            if gauge == drifted and week >= 260 and gear_set == "changed" and rng.random() < 0.5:
                seen, passed = (seen, False) if refused else (profile, passed)
            day = START + dt.timedelta(days=7 * week)
            rows.append((gauge, f"J{week:04d}{gauge}", day, gear_set, seen, passed))
    names = ["instrument", "job", "day", "gear_set", "profile", "passed"]
    return pl.DataFrame(rows, schema=names, orient="row").sort("day", "job", "instrument")


def alarmed(charts: tuple[PatternChart, ...]) -> list[tuple[str, str]]:
    return [(chart.instrument, chart.sense) for chart in charts if chart.found_on is not None]


@pytest.mark.parametrize(
    ("profile", "refused", "sense"),
    [("flank", False, "reads high"), ("face", False, "reads low"), ("centre", True, REFUSED)],
)
def test_a_gauge_gone_off_shows_in_its_own_sense(profile: str, refused: bool, sense: str) -> None:
    off_by, late, of_others = [], [], 0
    for seed in range(1, 8):
        charts = pattern_charts(jobs(seed, "B", profile, refused))
        assert ("B", sense) in alarmed(charts)
        of_others += len(alarmed(charts)) - 1
        (chart,) = (c for c in charts if (c.instrument, c.sense) == ("B", sense))
        assert chart.since is not None
        assert chart.found_on is not None
        assert GONE_OFF < chart.found_on < GONE_OFF + dt.timedelta(days=500)
        late.append((chart.found_on - GONE_OFF).days)
        assert chart.since <= chart.found_on
        off_by.append(abs((chart.since - GONE_OFF).days))
    assert np.median(off_by) < 180  # the likeliest change of one chart may lie far before, the usual one does not
    assert np.median(late) < 365
    assert of_others <= 4  # 0.02 a year over 70 years: exact Poisson 1 % bound


def test_ordinary_work_raises_no_more_alarms_than_stated() -> None:
    alarms = sum(len(alarmed(pattern_charts(jobs(seed)))) for seed in range(40))
    assert stats.poisson.sf(alarms - 1, 0.02 * 10 * 40) > 0.01


def test_too_few_patterns_are_not_charted() -> None:
    few = jobs(3).head(25)
    assert pattern_charts(few) == ()
    assert pattern_charts(few.clear()) == ()
