"""Cumulative incidence by cause where other causes compete (Aalen-Johansen), for many groups."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analytics.estimators.arrays import FloatArray, IntArray, as_codes, as_numbers, tail
from analytics.estimators.curve_values import CurveValues, nobody_yet, read_curve
from analytics.estimators.influence import (
    codes_by_group,
    few_units_quantile,
    not_below,
    variance_between_units,
)
from analytics.estimators.risk_table import RiskTable, risk_table


@dataclass(frozen=True)
class IncidenceCurves:
    """Hold cumulative incidence by cause, one row per group and distinct time, sorted by group, then time.

    table: who was at risk, failed of which cause and left at each row. survival: (rows) share without any event.
    incidence, variance, lower, upper: (causes, rows) share with the event of that cause by the row's time; at each
    row survival and all incidences sum to 1. units: (groups).
    """

    table: RiskTable
    survival: FloatArray
    incidence: FloatArray
    variance: FloatArray
    lower: FloatArray
    upper: FloatArray
    units: IntArray
    level: float
    method: str

    def at(self, cause: int, times: npt.ArrayLike) -> CurveValues:
        """Read the incidence of one cause (1 .. causes) at the given times (unit of the durations)."""
        if not 1 <= cause <= len(self.incidence):
            raise ValueError(f"cause must lie between 1 and {len(self.incidence)}, found {cause}")
        when, row = np.atleast_1d(as_numbers("times", times)), cause - 1
        before = (0.0, 0.0, 1 - nobody_yet(self.table, when, tail(self.level)))
        curves = (self.incidence[row], self.lower[row], self.upper[row])
        return read_curve(self.table, self.survival, curves, before, when)


@dataclass(frozen=True)
class _Steps:
    """Hold what happens at each row: at risk (1 where nobody), left without event, all events, survival before."""

    at_risk: FloatArray
    left: FloatArray
    total: FloatArray
    earlier: FloatArray
    survival: FloatArray


def aalen_johansen(
    duration: npt.ArrayLike,
    cause: npt.ArrayLike,
    causes: int,
    *,
    entry: npt.ArrayLike | None = None,
    weight: npt.ArrayLike | None = None,
    group: npt.ArrayLike | None = None,
    groups: int | None = None,
    unit: npt.ArrayLike | None = None,
    level: float = 0.95,
) -> IncidenceCurves:
    """Estimate the share with an event of each cause by each time, other causes competing, for each group.

    duration: (observations) time to the first event or the end of observation; cause: 0 for no event, 1 .. causes;
    entry, weight, group, groups, unit as `kaplan_meier`. Raises ValueError naming what is wrong.

    Method: Aalen & Johansen, Scand. J. Stat. 5 (1978) 141. Ties: all events at one time, of whatever cause, meet the
    same risk set and the same survival just before; whoever leaves at that time is still at risk. Nothing is
    jittered. Variance: delta method (Gaynor et al., J. Am. Stat. Assoc. 88 (1993) 400); with `unit` the
    infinitesimal jackknife by unit with few-units allowance, never below it, and equal to it where every unit is seen
    once. Limits on the log minus log scale of the incidence; before the first event of a cause the upper limit is
    the exact one for none among those at risk.
    """
    table = risk_table(duration, cause, causes, entry=entry, weight=weight, group=group, groups=groups)
    steps = _steps(table)
    incidence = np.stack([table.running(steps.earlier * d / steps.at_risk) for d in table.events])
    pairs = zip(table.events, incidence, strict=True)
    variance = np.stack([_delta_variance(table, steps, events, curve) for events, curve in pairs])
    units = table.observations
    if unit is not None:
        cluster, units = codes_by_group(table, unit, group)
        what = as_codes("cause", cause)
        mass = np.ones(len(what)) if weight is None else as_numbers("weight", weight)
        for row in range(causes):
            between = _between_units(table, steps, cluster, what, row + 1, incidence[row], mass)
            variance[row] = not_below(table, units, variance[row], between)
    limits = [_limits(table, f, v, units, tail(level)) for f, v in zip(incidence, variance, strict=True)]
    lower, upper = (np.stack(side) for side in zip(*limits, strict=True))
    by_unit = "" if unit is None else ", by unit"
    method = f"Aalen-Johansen, log-log limits{by_unit}"
    return IncidenceCurves(table, steps.survival, incidence, variance, lower, upper, units, level, method)


def _steps(table: RiskTable) -> _Steps:
    n, total = np.where(table.at_risk > 0, table.at_risk, 1.0), table.events.sum(0)
    # Fractional weights leave dust where everybody had an event; it must not pass for a survivor.
    left = np.where(n - total > 1e-9 * n, n - total, 0.0)
    survival = table.product(np.where(table.at_risk > 0, left / n, 1.0))
    return _Steps(n, left, total, table.before(survival, 1.0), survival)


def _delta_variance(table: RiskTable, steps: _Steps, events: FloatArray, incidence: FloatArray) -> FloatArray:
    # sum over s of (F(t) - F(s))^2 a(s) + b(s) - 2 (F(t) - F(s)) c(s), with running sums in place of the double loop.
    n = steps.at_risk
    a = np.where(steps.left > 0, steps.total / (n * np.where(steps.left > 0, steps.left, 1.0)), 0.0)
    b = steps.earlier**2 * events * (n - events) / n**3
    c = steps.earlier * events / n**2
    a0, a1, a2 = (table.running(a * incidence**power) for power in range(3))
    c0, c1 = table.running(c), table.running(c * incidence)
    spread = incidence**2 * a0 - 2 * incidence * a1 + a2 + table.running(b) - 2 * (incidence * c0 - c1)
    return np.maximum(spread, 0.0)


def _between_units(
    table: RiskTable,
    steps: _Steps,
    cluster: IntArray,
    what: IntArray,
    cause: int,
    incidence: FloatArray,
    mass: FloatArray,
) -> FloatArray:
    """Sum squared influences by unit, each a combination of 1, F, G = int A dF and B = int dF / n (METHODS)."""
    lasting, exit_row, entry_row = steps.left > 0, table.exit_row, table.entry_row
    safe = np.where(lasting, steps.left, 1.0)
    hazard = table.running(np.where(lasting, steps.total / (steps.at_risk * safe), 0.0))
    rise = incidence - table.before(incidence, 0.0)
    lived = table.running(rise * table.before(hazard, 0.0))
    thinned = table.running(rise / steps.at_risk)
    a, f, g, b = (np.append(table.before(c, 0.0), 0.0)[entry_row] for c in (hazard, incidence, lived, thinned))
    one = np.ones(len(cluster))
    at_entry = np.stack([a * f - g + b, -a, one, -one], axis=1)
    own = np.where((what > 0) & lasting[exit_row], 1 / safe[exit_row], 0.0)
    settled = own - (hazard[exit_row] - a)
    met = np.where(what == cause, steps.earlier[exit_row] / steps.at_risk[exit_row], 0.0)
    until = (lived[exit_row] - g) - a * (incidence[exit_row] - f) - (thinned[exit_row] - b)
    after = np.stack([until + met + settled * incidence[exit_row], -settled, 0 * one, 0 * one], axis=1)
    basis = np.stack([np.ones_like(incidence), incidence, lived, thinned])
    weighted = mass[:, None]
    return variance_between_units(table, cluster, basis, at_entry * weighted, (after - at_entry) * weighted)


def _limits(
    table: RiskTable, incidence: FloatArray, variance: FloatArray, units: IntArray, alpha: float
) -> tuple[FloatArray, FloatArray]:
    z = few_units_quantile(units, table.observations, alpha)[table.group]
    inside = (incidence > 0) & (incidence < 1 - 1e-12)
    f = np.where(inside, incidence, 0.5)
    stretch = np.exp(z * np.sqrt(variance) / (f * -np.log(f)))
    worth = np.maximum(table.at_risk * (units / np.maximum(table.observations, 1))[table.group], 1e-9)
    upper = np.where(inside, f ** (1 / stretch), np.where(incidence > 0, 1.0, 1 - alpha ** (1 / worth)))
    lower = np.where(inside, f**stretch, 0.0)
    # Where everybody had the event the scale has no width left; the lower limit stays where it was.
    full = incidence >= 1 - 1e-12
    held = np.maximum.accumulate(np.where(full, -1, np.arange(len(lower)))) if len(lower) else np.zeros(0, np.int64)
    within = held >= table.start[:-1][table.group]
    lower = np.where(full, np.where(within, lower[np.maximum(held, 0)], alpha ** (1 / worth)), lower)
    return lower, upper
