"""Give the comeback curve by distance, where the odometer of units not seen again has to be imputed."""

from __future__ import annotations

import numpy as np
import polars as pl

from analytics.comeback_curves import CURVES_SCHEMA, MINIMUM_AT_RISK, reported_column
from analytics.comeback_observations import durations
from analytics.estimators.arrays import FloatArray
from analytics.estimators.kaplan_meier import kaplan_meier
from analytics.estimators.multiple_imputation import pool_survival

IMPUTATIONS = 5
SEED = 20_161_003
STEP_M = 10_000  # distances are counted in whole steps: ten kilometres are nothing beside a pace
GRID_KM = tuple(range(0, 105, 5))  # thousand km


def distance_curves(frame: pl.DataFrame) -> pl.DataFrame:
    """Return the share that came back by distance (thousand km), under the rule of the house, all and ours only.

    Columns: CURVES_SCHEMA. A job's distance at the end of its observation is the unit's own pace times the time, or a
    pace drawn from those of the other units where it was not watched long enough; the draws, pooled by Rubin's rules,
    carry that uncertainty into the interval.
    """
    units, place = np.unique(frame["unit_id"].to_numpy(), return_inverse=True)
    own = np.full(len(units), np.nan)
    own[place] = _numbers(frame["metres_a_day"])
    if np.count_nonzero(~np.isnan(own)) < MINIMUM_AT_RISK:
        return pl.DataFrame(schema=CURVES_SCHEMA)
    paces = [_drawn(own, draw)[place] for draw in range(IMPUTATIONS)]
    numbered = frame.with_row_index("place")
    return pl.concat([_curve(numbered, paces, ours) for ours in (False, True)])


def _curve(frame: pl.DataFrame, paces: list[FloatArray], ours: bool) -> pl.DataFrame:
    seen, _ = durations(frame, "end_observed", reported_column(ours))
    place, days = seen["place"].to_numpy(), seen["days"].to_numpy()
    failed, unit, read = seen["came_back"].to_numpy(), seen["unit_id"].to_numpy(), _read_distance(seen)
    if not len(days):
        return pl.DataFrame(schema=CURVES_SCHEMA)
    curves = []
    for pace in paces:
        metres = np.where(np.isnan(read), pace[place] * days, read)
        curves.append(kaplan_meier(np.maximum(np.ceil(metres / STEP_M), 1.0), failed, unit=unit))
    grid = np.array(GRID_KM, dtype=float)
    at, _ = pool_survival(curves, grid * 1e6 / STEP_M)
    told = {
        "rule": "observed", "ours": ours, "at": grid, "share": 1 - at.estimate[0], "low": 1 - at.upper[0],
        "high": 1 - at.lower[0], "at_risk": at.at_risk[0].astype(np.int64),
    }  # fmt: skip
    return pl.DataFrame(told, schema=CURVES_SCHEMA).filter(pl.col("at_risk") >= MINIMUM_AT_RISK)


def _read_distance(seen: pl.DataFrame) -> FloatArray:
    """Return the metres read at a comeback since delivery, NaN where they have to be imputed."""
    read = pl.when(pl.col("came_back") & (pl.col("reported_m") > pl.col("odometer_m"))).then(
        pl.col("reported_m") - pl.col("odometer_m")
    )
    return _numbers(seen.select(read).to_series())


def _drawn(own: FloatArray, draw: int) -> FloatArray:
    """Return one pace (metres a day) per unit: its own, or drawn from the log-normal of those that are known."""
    known = np.log(own[~np.isnan(own)])
    middle, spread = float(np.median(known)), float(np.std(np.sort(known)))
    drawn = middle + spread * np.random.default_rng([SEED, draw]).standard_normal(len(own))
    return np.where(np.isnan(own), np.exp(drawn), own)


def _numbers(column: pl.Series) -> FloatArray:
    return column.cast(pl.Float64).fill_null(float("nan")).to_numpy()
