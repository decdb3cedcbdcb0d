"""Fit the comeback curves by months that an answer shows: under each rule, all and ours only."""

from __future__ import annotations

import numpy as np
import polars as pl

from analytics.comeback_observations import DAYS_PER_MONTH, durations
from analytics.estimators.arrays import IntArray
from analytics.estimators.kaplan_meier import SurvivalCurves, kaplan_meier

MINIMUM_AT_RISK = 10
RULES = {
    "end_observed": "observed", "end_all": "as if all were followed", "end_sighted": "independent sightings only",
    "end_seen": "as if silent units were gone",
}  # fmt: skip
CURVES_SCHEMA = {
    "rule": pl.String, "ours": pl.Boolean, "at": pl.Float64, "share": pl.Float64, "low": pl.Float64,
    "high": pl.Float64, "at_risk": pl.Int64,
}  # fmt: skip
_HALF_MONTHS = [step / 2 for step in range(49)]

Fits = dict[tuple[str, bool], SurvivalCurves]


def reported_column(ours: bool) -> str:
    """Return the column with the day of the comeback that counts."""
    return "reported_ours" if ours else "reported"


def fit_days(
    seen: pl.DataFrame, group: IntArray | None = None, groups: int | None = None, by_unit: bool = True
) -> SurvivalCurves:
    """Return curves over whole days since delivery of the rows that `durations` gives."""
    unit = seen["unit_id"].to_numpy() if by_unit else None
    return kaplan_meier(seen["days"].to_numpy(), seen["came_back"].to_numpy(), group=group, groups=groups, unit=unit)


def fit_rules(frame: pl.DataFrame) -> Fits:
    """Return the curve of every rule, all and ours only, by (rule, ours); none where a rule observes nothing."""
    fits: Fits = {}
    for rule in RULES:
        for ours in (False, True):
            seen, _ = durations(frame, rule, reported_column(ours))
            if seen.height:
                fits[rule, ours] = fit_days(seen)
    return fits


def curves_by_months(fits: Fits) -> pl.DataFrame:
    """Return the curves at every half month, as far as enough jobs are still observed. Columns: CURVES_SCHEMA."""
    parts = [pl.DataFrame(schema=CURVES_SCHEMA)]
    for (rule, ours), fit in fits.items():
        at = fit.at(np.array(_HALF_MONTHS) * DAYS_PER_MONTH)
        told = {
            "rule": RULES[rule], "ours": ours, "at": _HALF_MONTHS, "share": 1 - at.estimate[0],
            "low": 1 - at.upper[0], "high": 1 - at.lower[0], "at_risk": at.at_risk[0].astype(np.int64),
        }  # fmt: skip
        parts.append(pl.DataFrame(told, schema=CURVES_SCHEMA).filter(pl.col("at_risk") >= MINIMUM_AT_RISK))
    return pl.concat(parts)
