"""Give the chance that the watch list catches a bad lot, by its number fitted and how bad it is."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl
from scipy import special

from analytics.estimators.cusum_run_length import share_alarming
from analytics.watch_run import Settings

SHARE = 0.006  # of pieces that ordinarily come back within the window: a synchroniser ring's, for the table
ODDS_RATIOS = (4.0, 8.0, 20.0)
FITTED = (30, 60, 100, 150)
POWER_SCHEMA = {"odds_ratio": pl.Float64, "fitted": pl.Int64, "comebacks": pl.Float64, "caught": pl.Float64}


def power_table(settings: Sequence[Settings], ratio: float, share: float = SHARE) -> pl.DataFrame:
    """Return by odds ratio and pieces fitted: comebacks to be expected, and the chance of an alarm from them.

    share: of pieces that ordinarily come back. Columns: POWER_SCHEMA. Method: the number of comebacks is binomial;
    given it, the chart alarms with the probability that so many events take it past the threshold last set.
    """
    if not settings or not np.isfinite(settings[0].threshold[-1]):
        return pl.DataFrame(schema=POWER_SCHEMA)
    threshold = float(settings[0].threshold[-1])
    rows = []
    for odds_ratio in ODDS_RATIOS:
        bad = share * odds_ratio / (1 - share + share * odds_ratio)
        for fitted in FITTED:
            counts = np.arange(fitted + 1)
            chance = special.comb(fitted, counts) * bad**counts * (1 - bad) ** (fitted - counts)
            needed = [k for k in counts.tolist() if chance[k] > 1e-6]
            caught = sum(
                float(chance[k]) * float(share_alarming(threshold, ratio, [bad / share], k)[0]) for k in needed
            )
            rows.append((odds_ratio, fitted, fitted * bad, min(caught, 1.0)))
    return pl.DataFrame(rows, schema=POWER_SCHEMA, orient="row")
