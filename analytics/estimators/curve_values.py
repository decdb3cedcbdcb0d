"""Reading a step curve of many groups at given times."""

from dataclasses import dataclass

import numpy as np

from analytics.estimators.arrays import BoolArray, FloatArray
from analytics.estimators.risk_table import RiskTable


@dataclass(frozen=True)
class CurveValues:
    """Hold a curve at given times, each array (groups, times) but time itself.

    known: False after a group's last observed time, where estimate and limits repeat the last ones.
    """

    time: FloatArray
    estimate: FloatArray
    lower: FloatArray
    upper: FloatArray
    at_risk: FloatArray
    known: BoolArray


def read_curve(
    table: RiskTable,
    survival: FloatArray,
    curves: tuple[FloatArray, FloatArray, FloatArray],
    before: tuple[FloatArray | float, FloatArray | float, FloatArray | float],
    times: FloatArray,
) -> CurveValues:
    """Read estimate, lower and upper limit (each (rows)) at times, with the values `before` each group's first row.

    survival: (rows) share without any event, by which a curve stays known once nobody is left to have one.
    """
    row = table.rows_at(times)
    first, last = table.start[:-1, None], table.start[1:, None]
    begun, safe = row >= first, np.maximum(row, 0)
    read = [np.where(begun, np.append(c, 0.0)[safe], b) for c, b in zip(curves, before, strict=True)]
    end = np.where(last > first, np.append(table.time, 0.0)[np.maximum(last - 1, 0)], -1.0)
    known = (times <= end) | (begun & (np.append(survival, 1.0)[safe] <= 0))
    return CurveValues(times, read[0], read[1], read[2], table.at_risk_at(times), known)


def nobody_yet(table: RiskTable, times: FloatArray, alpha: float) -> FloatArray:
    """Give (groups, times) the exact lower limit of survival before anything has been seen to happen.

    1 at the origin itself; else alpha^(1 / n) for the n at risk at first; 0 for a group without observations.
    """
    seen = (np.diff(table.start) > 0)[:, None]
    n = np.append(table.at_risk, 1.0)[table.start[:-1]][:, None]
    exact = np.where(seen, alpha ** (1 / np.maximum(n, 1e-9)), 0.0)
    return np.asarray(np.where(times <= 0, 1.0, exact), dtype=np.float64)
