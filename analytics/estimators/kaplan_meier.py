"""Product-limit (Kaplan-Meier) survival curves of many groups, with limits, late entry, ties and units seen twice."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy import special

from analytics.estimators.arrays import BoolArray, FloatArray, IntArray, as_numbers, tail
from analytics.estimators.curve_values import CurveValues, nobody_yet, read_curve
from analytics.estimators.influence import (
    codes_by_group,
    few_units_quantile,
    not_below,
    pairs_of_units,
    squares_from_origin,
    variance_between_units,
)
from analytics.estimators.interval import Intervals
from analytics.estimators.risk_table import RiskTable, risk_table

Limits = Literal["log-log", "log", "plain"]


@dataclass(frozen=True)
class SurvivalCurves:
    """Hold survival curves of all groups, one row per group and distinct time, sorted by group, then time.

    table: who was at risk, failed and left at each row. survival, lower, upper: (rows) share surviving beyond the
    row's time. log_variance: (rows) variance of log survival; 0 once survival is 0. units: (groups).
    """

    table: RiskTable
    survival: FloatArray
    lower: FloatArray
    upper: FloatArray
    log_variance: FloatArray
    units: IntArray
    level: float
    method: str

    def at(self, times: npt.ArrayLike) -> CurveValues:
        """Read the curves at the given times (times in the unit of the durations)."""
        when = np.atleast_1d(as_numbers("times", times))
        before = (1.0, nobody_yet(self.table, when, tail(self.level)), 1.0)
        return read_curve(self.table, self.survival, (self.survival, self.lower, self.upper), before, when)

    def quantile(self, share_failed: float) -> Intervals:
        """Give for each group the time by which this share has failed, infinity where the curve does not get there.

        Method: first time at which survival, and each of its limits, is at or below 1 - share (Brookmeyer & Crowley,
        Biometrics 38 (1982) 29).
        """
        if not 0 < share_failed < 1:
            raise ValueError(f"share_failed must lie between 0 and 1, found {share_failed}")
        reach = 1 - share_failed + 1e-12
        times = np.append(self.table.time, np.inf)
        found = [times[self.table.first_row(curve <= reach)] for curve in (self.survival, self.lower, self.upper)]
        return Intervals(found[0], found[1], found[2], self.level, f"inverted {self.method}")


def kaplan_meier(
    duration: npt.ArrayLike,
    failed: npt.ArrayLike,
    *,
    entry: npt.ArrayLike | None = None,
    weight: npt.ArrayLike | None = None,
    group: npt.ArrayLike | None = None,
    groups: int | None = None,
    unit: npt.ArrayLike | None = None,
    level: float = 0.95,
    limits: Limits = "log-log",
) -> SurvivalCurves:
    """Estimate the share surviving beyond each time, for each group.

    duration: (observations) months, days or km to failure or to the end of observation; failed: 1 or True for a
    failure; entry: where observation began later than the origin; weight: observations a row stands for; group:
    codes 0 .. groups - 1; unit: codes of the units, when one unit contributes several observations. Order of rows
    does not matter. Raises ValueError naming what is wrong.

    Method: Kaplan & Meier, J. Am. Stat. Assoc. 53 (1958) 457; failures come before censorings at the same time, tied
    failures are counted together. Variance: Greenwood; with `unit`, the infinitesimal jackknife by unit with
    few-units allowance, never below Greenwood's, and equal to it where every unit is seen once. Limits on the log
    minus log scale (Kalbfleisch & Prentice), or log, or plain. Before the first failure the lower limit is the exact
    one for nobody failed among those at risk; at zero survival the lower limit is 0 and the upper one stays where it
    was (both as in Fay, Brittain & Proschan, Biostatistics 14 (2013) 723).
    """
    table = risk_table(duration, failed, 1, entry=entry, weight=weight, group=group, groups=groups)
    survivors = _survivors(table)
    survival = table.product(survivors / np.where(table.at_risk > 0, table.at_risk, 1.0) + (table.at_risk <= 0))
    lasting = survivors > 0
    step = np.where(lasting, table.events[0] / np.where(lasting, table.at_risk * survivors, 1.0), 0.0)
    greenwood = table.running(step)
    units, variance = table.observations, greenwood
    if unit is not None:
        cluster, units = codes_by_group(table, unit, group)
        variance = _between_units(table, cluster, units, greenwood, lasting, weight, np.asarray(failed))
    lower, upper = _limits(table, survival, variance, units, tail(level), limits)
    by_unit = "" if unit is None else ", by unit"
    return SurvivalCurves(
        table, survival, lower, upper, variance, units, level, f"Kaplan-Meier, {limits} limits{by_unit}"
    )


def _between_units(
    table: RiskTable,
    cluster: IntArray,
    units: IntArray,
    greenwood: FloatArray,
    lasting: BoolArray,
    weight: npt.ArrayLike | None,
    failed: npt.NDArray[np.generic],
) -> FloatArray:
    survivors = np.where(lasting, _survivors(table), 1.0)
    mass = np.ones(len(cluster)) if weight is None else np.asarray(weight, dtype=np.float64)
    if weight is None and np.array_equal(table.entry_row, table.start[:-1][np.append(table.group, 0)[table.exit_row]]):
        pairs = pairs_of_units(cluster)
        if pairs is not None:
            between = _from_origin(table, pairs, greenwood, np.where(lasting, 1 / survivors, 0.0), failed.astype(bool))
            return not_below(table, units, greenwood, between)
    own = np.where(failed.astype(bool) & lasting[table.exit_row], 1 / survivors[table.exit_row], 0.0)
    at_start = table.before(greenwood, 0.0)
    at_start = np.append(at_start, 0.0)[table.entry_row]
    zero = np.zeros(len(cluster))
    # Influence on -log survival: minus the hazard lived through, plus one's own failure; constant after leaving.
    at_entry = np.stack([at_start, zero - 1], axis=1) * mass[:, None]
    at_exit = np.stack([own - greenwood[table.exit_row], zero + 1], axis=1) * mass[:, None]
    basis = np.stack([np.ones_like(greenwood), greenwood])
    between = variance_between_units(table, cluster, basis, at_entry, at_exit)
    return not_below(table, units, greenwood, between)


def _from_origin(
    table: RiskTable, pairs: tuple[IntArray, IntArray], greenwood: FloatArray, own: FloatArray, failed: BoolArray
) -> FloatArray:
    """Give the same for observations of weight 1 that all begin at the origin, without sorting them."""
    by_row = np.stack([-greenwood, own - greenwood])  # influence once it has left, without failure and with
    gone = table.events[0] + table.left
    still = np.bincount(table.group, gone, len(table.observations))[table.group] - table.running(gone)
    alone = greenwood**2 * still + table.running(table.left * by_row[0] ** 2 + table.events[0] * by_row[1] ** 2)
    return squares_from_origin(table, pairs, greenwood, by_row[failed.astype(np.int64), table.exit_row], alone)


def _survivors(table: RiskTable) -> FloatArray:
    survivors = table.at_risk - table.events[0]
    # Fractional weights leave dust where everybody failed; it must not pass for a survivor.
    return np.where(survivors > 1e-9 * table.at_risk, survivors, 0.0)


def _limits(
    table: RiskTable, survival: FloatArray, variance: FloatArray, units: IntArray, alpha: float, limits: Limits
) -> tuple[FloatArray, FloatArray]:
    z = few_units_quantile(units, table.observations, alpha)[table.group]
    inside = (survival > 0) & (survival < 1)
    s = np.where(inside, survival, 0.5)
    error = z * np.sqrt(variance)
    if limits == "log-log":
        stretch = np.exp(error / -np.log(s))
        lower, upper = s**stretch, s ** (1 / stretch)
    elif limits == "log":
        lower, upper = s * np.exp(-error), np.minimum(s * np.exp(error), 1.0)
    elif limits == "plain":
        lower, upper = np.maximum(s * (1 - error), 0.0), np.minimum(s * (1 + error), 1.0)
    else:
        raise ValueError(f"limits must be log-log, log or plain, found {limits}")
    worth = np.maximum(table.at_risk * (units / np.maximum(table.observations, 1))[table.group], 1e-9)
    lower = np.where(survival >= 1, alpha ** (1 / worth), np.where(inside, lower, 0.0))
    upper = np.where(survival >= 1, 1.0, upper)
    return lower, _hold_at_zero(table, survival, upper, alpha, worth)


def _hold_at_zero(
    table: RiskTable, survival: FloatArray, upper: FloatArray, alpha: float, worth: FloatArray
) -> FloatArray:
    gone = survival <= 0
    row = np.arange(len(upper))
    held = np.maximum.accumulate(np.where(gone, -1, row)) if len(row) else row
    within = held >= table.start[:-1][table.group] if len(row) else np.zeros(0, bool)
    at_once = -special.expm1(np.log(alpha) / worth)
    return np.where(gone, np.where(within, upper[np.maximum(held, 0)], at_once), upper)
