"""Charts that add up evidence that something has become worse than each case's own risk explains."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analytics.estimators.arrays import (
    BoolArray,
    FloatArray,
    IntArray,
    as_amounts,
    as_codes,
    as_counts,
    as_numbers,
    same_length,
)


@dataclass(frozen=True)
class Steps:
    """Hold by how much each row lets a chart fall first, never below 0, and then raises it, in log likelihood."""

    fall: FloatArray
    rise: FloatArray


@dataclass(frozen=True)
class ChartRun:
    """Hold the charts after each row.

    statistic: (rows) log likelihood ratio for worse against ordinary since the most likely change, before a restart;
    alarm: (rows) whether it reached the threshold there; the chart then starts again from 0. since: (rows) row at
    which the present rise began, the most likely change point; -1 where the statistic is 0.
    """

    statistic: FloatArray
    alarm: BoolArray
    since: IntArray


def binary_steps(failed: npt.ArrayLike, probability: npt.ArrayLike, odds_ratio: float) -> Steps:
    """Score cases that failed or not, each with its own probability in ordinary work.

    failed: (rows) 0 or 1; probability: (rows) strictly between 0 and 1; odds_ratio: the worsening to watch for, above
    1. Raises ValueError otherwise.
    Method: Steiner, Cook, Farewell & Treasure, Biostatistics 1 (2000) 441.
    """
    y, p = np.broadcast_arrays(as_counts("failed", failed), as_numbers("probability", probability))
    if np.any(y > 1) or np.any((p <= 0) | (p >= 1)):
        raise ValueError("failed must be 0 or 1 and probability lie strictly between 0 and 1")
    spread = np.log1p((_worse(odds_ratio) - 1) * p)
    return Steps(np.zeros(p.shape), y * np.log(odds_ratio) - spread)


def exposure_steps(events: npt.ArrayLike, expected: npt.ArrayLike, rate_ratio: float, spread: bool = False) -> Steps:
    """Score events against those expected of the exposure lived through since the chart's row before.

    events: (rows) events that became known at the row's moment; expected: (rows) events expected since the row
    before; rate_ratio: the worsening to watch for, above 1; spread: True where a row is a whole month whose events
    lie anywhere in it. Raises ValueError otherwise.
    Method: log likelihood ratio of a rate rate_ratio times the expected one: Biswas & Kalbfleisch, Stat. Med. 27
    (2008) 3382; Gandy, Kvaloy, Bottle & Zhou, Biometrika 97 (2010) 375.
    """
    n, e = np.broadcast_arrays(as_counts("events", events), as_amounts("expected", expected))
    up, down = n * np.log(_worse(rate_ratio)), (rate_ratio - 1) * e
    return Steps(np.zeros(e.shape), up - down) if spread else Steps(down, up)


def run_charts(chart: npt.ArrayLike, steps: Steps, threshold: npt.ArrayLike) -> ChartRun:
    """Run all charts side by side over their rows.

    chart: (rows) codes in non-decreasing order, rows of a chart in the order in which they became known; threshold:
    one, or one a row. Raises ValueError on other orders or lengths.
    """
    code = as_codes("chart", chart)
    height = np.broadcast_to(as_numbers("threshold", threshold), code.shape)
    same_length(chart=code, fall=steps.fall, rise=steps.rise)
    if np.any(np.diff(code) < 0):
        raise ValueError("rows must be sorted by chart")
    first = np.flatnonzero(np.append(True, np.diff(code) > 0)) if len(code) else np.zeros(0, np.int64)
    length = np.diff(np.append(first, len(code)))
    longest_first = np.argsort(-length, kind="stable")
    first, length = first[longest_first], length[longest_first]
    statistic, alarm, since = np.zeros(len(code)), np.zeros(len(code), bool), np.full(len(code), -1, np.int64)
    level, began = np.zeros(len(first)), np.full(len(first), -1, np.int64)
    for step in range(int(length.max(initial=0))):
        # The charts that still have rows come first, so that each pass works on a shrinking head of the arrays.
        alive = int(np.searchsorted(-length, -step, side="left"))
        row = first[:alive] + step
        fallen = np.maximum(level[:alive] - steps.fall[row], 0.0)
        now = np.maximum(fallen + steps.rise[row], 0.0)
        start = np.where(fallen > 0, began[:alive], row)
        raised = now >= height[row]
        statistic[row], alarm[row], since[row] = now, raised, np.where(now > 0, start, -1)
        level[:alive] = np.where(raised, 0.0, now)
        began[:alive] = start
    return ChartRun(statistic, alarm, since)


def _worse(ratio: float) -> float:
    if not ratio > 1:
        raise ValueError(f"the ratio to watch for must be above 1, found {ratio}")
    return ratio
