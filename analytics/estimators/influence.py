"""Variance between units from each observation's influence on a curve (infinitesimal jackknife)."""

import numpy as np
import numpy.typing as npt
from scipy import special

from analytics.estimators.arrays import FloatArray, IntArray, as_codes, ranked, same_length
from analytics.estimators.risk_table import RiskTable

_MOST_PAIRED = 12  # observations of one unit up to which every two of them are gone through


def codes_by_group(table: RiskTable, unit: npt.ArrayLike, group: npt.ArrayLike | None) -> tuple[IntArray, IntArray]:
    """Give each observation a code for its unit within its group, and each group its number of units."""
    units = as_codes("unit", unit)
    code = np.zeros_like(units) if group is None else as_codes("group", group)
    same_length(unit=units, group=code, duration=table.exit_row)
    span = int(units.max(initial=0)) + 1
    pairs, cluster = ranked(code * span + units)
    return cluster, np.bincount(pairs // span, minlength=len(table.observations))


def variance_between_units(
    table: RiskTable, cluster: IntArray, basis: FloatArray, at_entry: FloatArray, at_exit: FloatArray
) -> FloatArray:
    """Sum the squared influence of each unit at each row.

    An observation's influence at a row is a combination of the basis curves (terms, rows), whose coefficients change
    when it enters (by at_entry, (observations, terms)) and when it leaves (by at_exit). Influences of one unit's
    observations are added before they are squared. Returns (rows).

    Method: Jaeckel's infinitesimal jackknife, grouped by unit (Efron 1982, chapter 6; Therneau & Grambsch 2000).
    """
    rows = np.concatenate([table.entry_row, table.exit_row])
    change = np.concatenate([at_entry, at_exit])
    owner = np.concatenate([cluster, cluster])
    order = np.lexsort((rows, owner))
    rows, change, owner = rows[order], change[order], owner[order]
    before, after = _running_by_owner(owner, change)
    terms = len(basis)
    variance = np.zeros(len(table.time))
    for a in range(terms):
        for b in range(a, terms):
            step = after[:, a] * after[:, b] - before[:, a] * before[:, b]
            at_row = np.asarray(np.bincount(rows, weights=step, minlength=len(variance)), np.float64)
            squares = table.running(at_row)
            variance += (1 if a == b else 2) * squares * basis[a] * basis[b]
    return np.maximum(variance, 0.0)


def pairs_of_units(cluster: IntArray) -> tuple[IntArray, IntArray] | None:
    """Give every two observations of one unit, or None where a unit has so many that pairs would cost more."""
    order = None if bool(np.all(cluster[1:] >= cluster[:-1])) else np.argsort(cluster, kind="stable")
    codes = cluster if order is None else cluster[order]
    one, other = [np.zeros(0, np.int64)], [np.zeros(0, np.int64)]
    for lag in range(1, len(codes)):
        same = np.flatnonzero(codes[lag:] == codes[:-lag])
        if not len(same):
            break
        if lag >= _MOST_PAIRED:
            return None
        one.append(same if order is None else order[same])
        other.append(same + lag if order is None else order[same + lag])
    return np.concatenate(one), np.concatenate(other)


def squares_from_origin(
    table: RiskTable, pairs: tuple[IntArray, IntArray], level: FloatArray, settled: FloatArray, alone: FloatArray
) -> FloatArray:
    """Sum the squared influence of each unit at each row, where all were under observation from the origin.

    An observation's influence is - level (rows) until it leaves, and `settled` (observations) from then on; pairs:
    every two observations of one unit; alone: (rows) the sum of the observations' own squares. Returns (rows). The
    square of a unit's sum is the sum of its squares and twice the products of every two; a product is level^2 while
    both are under observation, - level x settled while one is, and the product of both settled ones at last.
    """
    i, j = pairs
    if not len(i):
        return alone
    leave_i, leave_j = table.exit_row[i], table.exit_row[j]
    settled_i, settled_j, rows = settled[i], settled[j], len(table.time)
    first, last = np.minimum(leave_i, leave_j), np.maximum(leave_i, leave_j)
    of_first = np.where(leave_i <= leave_j, settled_i, settled_j)
    gone = table.running(np.bincount(first, minlength=rows).astype(np.float64))
    there = np.bincount(table.group[first], minlength=len(table.observations))[table.group] - gone
    one = table.running(np.asarray(np.bincount(first, of_first, rows) - np.bincount(last, of_first, rows), np.float64))
    none = table.running(np.asarray(np.bincount(last, settled_i * settled_j, rows), np.float64))
    return np.asarray(alone + 2 * (level**2 * there - level * one + none), dtype=np.float64)


def few_units_variance(units: IntArray, observations: IntArray) -> FloatArray:
    """Give the factor [K / (K - 1)] [(n - 1) / n] on a variance between K units of n observations, 1 where K is n.

    With one unit the variance between units is unknown and the factor is 1.
    """
    k, n = np.maximum(units, 2).astype(np.float64), np.maximum(observations, 2).astype(np.float64)
    return np.asarray(np.where((units == observations) | (units < 2), 1.0, k / (k - 1) * (n - 1) / n))


def not_below(table: RiskTable, units: IntArray, alone: FloatArray, between: FloatArray) -> FloatArray:
    """Give at each row the variance between units with its few-units factor, never below the one of units seen once.

    alone, between: (rows). Where every unit is seen once it is `alone` itself, which late entry would move the
    jackknife off. One unit says nothing of the variance between units: its observations then count as one.
    """
    n = table.observations
    between = between * few_units_variance(units, n)[table.group]
    worst = np.where((units == 1) & (n > 1), n, 1)[table.group]
    return np.where((units == n)[table.group], alone, np.maximum(between, alone * worst))


def few_units_quantile(units: IntArray, observations: IntArray, alpha: float) -> FloatArray:
    """Give the normal quantile times t[units - 1] / t[observations - 1], plain where every unit is seen once."""
    z = float(special.ndtri(1 - alpha))
    ratio = special.stdtrit(np.maximum(units - 1, 1), 1 - alpha)
    ratio = ratio / special.stdtrit(np.maximum(observations - 1, 1), 1 - alpha)
    return np.asarray(np.where((units == observations) | (units < 2), z, z * ratio), dtype=np.float64)


def _running_by_owner(owner: IntArray, change: FloatArray) -> tuple[FloatArray, FloatArray]:
    # One pass a step, over all owners at once: no rounding leaks from one owner to the next, as it would from one
    # long running sum, and owners have few steps.
    first = np.flatnonzero(np.append(True, owner[1:] != owner[:-1])) if len(owner) else np.zeros(0, np.int64)
    length = np.diff(np.append(first, len(owner)))
    longest_first = np.argsort(-length, kind="stable")
    first, length = first[longest_first], length[longest_first]
    before, after = np.zeros_like(change), change.copy()
    for step in range(1, int(length.max(initial=0))):
        place = first[: np.searchsorted(-length, -step, side="left")] + step
        before[place] = after[place - 1]
        after[place] += after[place - 1]
    return before, after
