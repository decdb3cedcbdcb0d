"""How high a whole list of charts must be set so that ordinary work seldom raises a false alarm."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy import optimize, special

from analytics.estimators.arrays import FloatArray, IntArray, as_amounts, as_numbers
from analytics.estimators.cusum_run_length import critical_ratio, events_to_alarm

_RATIOS = np.geomspace(1 / 16, 16, 25)
_SCORES = np.linspace(-4, 4, 33)
_PROBABILITIES = np.array([0.0, 0.05, 0.1, 0.2, 0.3, 0.5, 0.7, 0.9])
_HIGHEST = 60.0
_MARGIN = 0.85


@dataclass(frozen=True)
class ListThreshold:
    """Hold the one threshold for all charts, the allowances that go with it, and what the two promise.

    allowance: (charts) at least 1: factor on the expected events (on the odds, for charts of cases) before they are
    scored, so that an expectation that rests on few events does not raise alarms by being too low. alarms: (charts)
    false alarms a year each chart is then expected to raise; their sum is the list's.
    """

    threshold: float
    allowance: FloatArray
    alarms: FloatArray
    ratio: float
    method: str


def list_threshold(
    expected_a_year: npt.ArrayLike,
    worth: npt.ArrayLike,
    ratio: float,
    probability: npt.ArrayLike = 0.0,
    alarms_a_year: float = 1.0,
) -> ListThreshold:
    """Set one threshold so that all charts together raise at most so many false alarms a year of ordinary work.

    expected_a_year: (charts) events expected in a year on each chart now alive; worth: (charts) number of events that
    the expectation rests on, infinite where it is known; ratio: the worsening watched for; probability: (charts) mean
    probability of a case, 0 for charts of events against exposure. Raises ValueError otherwise.

    Method: given b events behind it, the true rate over the expected one is gamma with mean 1 and shape b. In the
    time scale of its own expectation every chart of events is one and the same, so that the list's false alarms are a
    sum of expectations times a long-run rate, averaged over the unknown true rates; the threshold solves that sum for
    the promise. It so includes the estimation of the baseline, the number of charts alive, and restarts.
    """
    yearly = as_amounts("expected_a_year", expected_a_year)
    rests_on = np.broadcast_to(np.asarray(worth, dtype=np.float64), yearly.shape)
    p = np.broadcast_to(as_numbers("probability", probability), yearly.shape)
    if not ratio > 1 or np.any((p < 0) | (p >= 1)) or np.any(np.isnan(rests_on) | (rests_on <= 0)):
        raise ValueError("ratio must be above 1, probability lie in 0 .. 1 and worth be more than zero")
    total = float(np.sum(np.sort(yearly)))
    allowance = _allowances(rests_on, ratio, p, min(alarms_a_year / max(total, 1e-9), 0.1))
    raised = allowance * p / (1 - p + allowance * p)
    scale = np.where(p > 0, raised / np.where(p > 0, p, 1.0), allowance)

    like = _alike(raised)
    alike = [(float(value), like == value) for value in np.unique(like)]
    kinds = [(value, mine, _kinds(rests_on[mine], allowance[mine])) for value, mine in alike]

    def alarms(threshold: float) -> FloatArray:
        by_chart = np.zeros(len(yearly))
        for value, mine, kind in kinds:
            by_chart[mine] = yearly[mine] * scale[mine] * _alarm_rate(threshold, ratio, value, kind)
        return by_chart

    def excess(threshold: float) -> float:
        return float(np.log(max(float(np.sum(np.sort(alarms(threshold)))), 1e-300) / alarms_a_year))

    threshold = _least_that_keeps(excess) if total > 0 else float(np.log(ratio))
    method = "one threshold for the list, by integral equation, estimation of the baseline included"
    return ListThreshold(threshold, allowance, alarms(threshold), ratio, method)


def _allowances(worth: FloatArray, ratio: float, p: FloatArray, missed: float) -> FloatArray:
    # Above the critical ratio no threshold helps. The allowance leaves few expectations so far too low.
    shape = np.minimum(worth, 1e8)
    highest = special.gammaincinv(shape, 1 - missed) / shape
    return np.asarray(np.maximum(highest / (_MARGIN * critical_ratio(ratio, p)), 1.0), dtype=np.float64)


def _alike(p: FloatArray) -> FloatArray:
    # Charts of like mean probability share one solution; rounding down errs towards counting more false alarms.
    return np.asarray(_PROBABILITIES[np.searchsorted(_PROBABILITIES, p, side="right") - 1], dtype=np.float64)


@dataclass(frozen=True)
class _Kinds:
    """Hold charts that rest on as many events: (kinds, scores) log of true rate over raised expectation, (charts) kind."""

    nodes: FloatArray
    which: IntArray


def _kinds(worth: FloatArray, allowance: FloatArray) -> _Kinds:
    kinds, which = np.unique(
        np.round(np.log(np.stack([np.minimum(worth, 1e8), allowance])), 2), axis=1, return_inverse=True
    )
    shape, raised = np.exp(kinds)[:, :, None]
    nodes = special.gammaincinv(shape, special.ndtr(_SCORES)) / shape / raised
    return _Kinds(np.log(np.clip(nodes, _RATIOS[0], _RATIOS[-1])), which)


@lru_cache(maxsize=1024)  # searches for the thresholds of several lists try the same ones
def _log_rate(threshold: float, ratio: float, p: float) -> Callable[[FloatArray], FloatArray]:
    """Give the log of false alarms per event by the log of true rate over expectation."""
    from scipy import interpolate  # loads slowly, and most questions set no threshold

    true = _RATIOS / (1 - p + _RATIOS * p)
    rate = true / events_to_alarm(threshold, ratio, _RATIOS, p)
    curve: Callable[[FloatArray], FloatArray] = interpolate.PchipInterpolator(np.log(_RATIOS), np.log(rate))
    return curve


def _alarm_rate(threshold: float, ratio: float, p: float, kinds: _Kinds) -> FloatArray:
    """Give (charts) long-run false alarms per event of the raised expectation, averaged over the true rate."""
    weight = np.exp(-(_SCORES**2) / 2)
    read = _log_rate(threshold, ratio, p)(kinds.nodes)
    return np.asarray((np.exp(read) @ weight / weight.sum())[kinds.which], dtype=np.float64)


def _least_that_keeps(excess: Callable[[float], float]) -> float:
    low = high = 1e-6
    while excess(high) > 0:
        low, high = high, max(high * 1.5, 2.0)
        if high > _HIGHEST:
            raise ValueError("no threshold keeps the promise: too many charts rest on too few events")
    if high == low:
        return high
    found = float(optimize.brentq(excess, low, high, xtol=0.02))
    # The grid moves with the threshold in small steps: end on the safe side of the root.
    while excess(found) > 0:
        found += 0.01
    return found
