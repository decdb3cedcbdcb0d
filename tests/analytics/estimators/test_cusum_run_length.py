"""Run lengths against simulation by a plain loop, and their limits."""

import numpy as np
import pytest

from analytics.estimators.cusum_run_length import critical_ratio, events_to_alarm, share_alarming


def simulate(threshold, ratio, true, probability, charts=6000, seed=20260114):
    """Events to alarm of fresh charts, event by event."""
    rng = np.random.default_rng(seed)
    level, events, quiet = np.zeros(charts), np.zeros(charts, int), np.ones(charts, bool)
    while quiet.any():
        if probability:
            odds = true * probability / (1 - probability)
            sound = rng.geometric(odds / (1 + odds), charts) - 1
            fall = sound * np.log1p((ratio - 1) * probability)
        else:
            fall = (ratio - 1) * rng.exponential(1 / true, charts)
        rise = np.log(ratio) - np.log1p((ratio - 1) * probability)
        level = np.where(quiet, np.maximum(level - fall, 0) + rise, level)
        events += quiet
        quiet &= level < threshold
    return events


@pytest.mark.parametrize(
    ("threshold", "ratio", "true", "probability"),
    [(2.5, 2, 1, 0), (2.5, 2, 2, 0), (4, 4, 1, 0), (4, 8, 1.5, 0), (2, 2, 1, 0.05), (2.5, 2, 2, 0.3), (3, 4, 1, 0.1)],
)
def test_agrees_with_simulation(threshold, ratio, true, probability):
    events = simulate(threshold, ratio, true, probability)
    error = events.std() / np.sqrt(len(events))
    mean = events_to_alarm(threshold, ratio, true, probability)[0]
    assert mean == pytest.approx(events.mean(), rel=0.03, abs=3 * error)
    for within in (3, 10):
        share = share_alarming(threshold, ratio, true, within, probability)[0]
        assert share == pytest.approx(np.mean(events <= within), abs=0.03)


def test_a_threshold_below_one_rise_alarms_at_the_first_event():
    assert events_to_alarm(0.5, 2, [1, 3]).tolist() == [1, 1]
    assert share_alarming(0.5, 2, 1, 1).tolist() == [1]
    assert share_alarming(0.5, 2, 1, 0).tolist() == [0]


def test_worse_work_alarms_sooner_and_higher_thresholds_later():
    true = np.geomspace(0.3, 10, 12)
    events = events_to_alarm(4, 2, true)
    assert (np.diff(events) < 0).all()
    assert (events_to_alarm(5, 2, true) > events).all()


def test_critical_ratio_is_where_the_drift_is_nil():
    assert critical_ratio(2.0) == pytest.approx(1 / np.log(2))
    # Cases: mean score nil at the critical odds.
    p, ratio = 0.2, 3.0
    odds = float(critical_ratio(ratio, p)) * p / (1 - p)
    true = odds / (1 + odds)
    assert true * np.log(ratio) - np.log1p((ratio - 1) * p) == pytest.approx(0)
