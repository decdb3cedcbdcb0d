"""Give the comeback curve by distance, where the odometer of units not seen again has to be imputed."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import polars as pl

from analytics.comeback_observations import DAYS_PER_MONTH, durations
from analytics.estimators.imputed_curves import combined_limits
from analytics.estimators.kaplan_meier import kaplan_meier

IMPUTATIONS = 10
SEED = 20_161_003
GRID_KM = tuple(range(0, 105, 5))  # thousand km
MINIMUM_AT_RISK = 10


def distance_curves(frame: pl.DataFrame) -> pl.DataFrame:
    """Return the share that came back by distance (thousand km), under the rule of the house, all and ours only.

    Columns: rule, ours, at, share, low, high, at_risk. A job's distance at the end of its observation is the unit's
    own pace times the time, or a pace drawn from those of the other units where it was not watched long enough; ten
    draws, combined by Rubin's rules, carry that uncertainty into the interval.
    """
    parts = [_curve(frame, ours) for ours in (False, True)]
    return pl.concat(parts)


_SCHEMA = {
    "rule": pl.String, "ours": pl.Boolean, "at": pl.Float64, "share": pl.Float64, "low": pl.Float64,
    "high": pl.Float64, "at_risk": pl.Int64,
}  # fmt: skip


def _curve(frame: pl.DataFrame, ours: bool) -> pl.DataFrame:
    seen, _ = durations(frame, "end_observed", "reported_ours" if ours else "reported")
    paced = seen.filter(pl.col("metres_a_day").is_not_null())
    if paced["unit"].n_unique() < MINIMUM_AT_RISK:
        return pl.DataFrame(schema=_SCHEMA)
    days = seen["months"].to_numpy() * DAYS_PER_MONTH
    unit = seen.select(pl.col("unit").rank("dense").cast(pl.Int64) - 1).to_series().to_numpy()
    failed = seen["came_back"].to_numpy()
    read = _read_distance(seen)
    grid = np.array(GRID_KM, dtype=float)
    curves = []
    for draw in range(IMPUTATIONS):
        metres = np.where(np.isnan(read), _paces(seen, draw) * days, read)
        curves.append(kaplan_meier(np.maximum(np.round(metres / 1e6, 4), 1e-4), failed, unit=unit).at(grid))
    share, low, high = combined_limits(
        np.array([c.estimate[0] for c in curves]),
        np.array([c.lower[0] for c in curves]),
        np.array([c.upper[0] for c in curves]),
    )
    return pl.DataFrame(
        {
            "rule": "observed",
            "ours": ours,
            "at": grid,
            "share": share,
            "low": low,
            "high": high,
            "at_risk": np.median([c.at_risk[0] for c in curves], axis=0).astype(np.int64),
        },
        schema=_SCHEMA,
    ).filter(pl.col("at_risk") >= MINIMUM_AT_RISK)


def _read_distance(seen: pl.DataFrame) -> npt.NDArray[np.float64]:
    """Return the metres read at a comeback since delivery, NaN where they have to be imputed."""
    read = seen.select(
        pl.when(pl.col("came_back") & (pl.col("reported_m") > pl.col("odometer_m")))
        .then(pl.col("reported_m") - pl.col("odometer_m"))
        .cast(pl.Float64)
    ).to_series()
    return read.fill_null(float("nan")).to_numpy()


def _paces(seen: pl.DataFrame, draw: int) -> npt.NDArray[np.float64]:
    """Return one drawn pace (metres a day) per job; jobs of one unit share it."""
    units = seen.group_by("unit").agg(pl.col("metres_a_day").first()).sort("unit")
    known = np.log(units["metres_a_day"].drop_nulls().to_numpy())
    middle, spread = float(np.median(known)), float(np.std(known))
    drawn = middle + spread * np.random.default_rng([SEED, draw]).standard_normal(units.height)
    own = units["metres_a_day"].fill_null(float("nan")).to_numpy()
    pace = np.where(np.isnan(own), np.exp(drawn), own)
    return units.select("unit", pl.Series("pace", pace)).join(seen.select("unit"), on="unit")["pace"].to_numpy()
