"""Drift of a gauge: cumulative sums over all the evidence about one instrument, whatever its timing."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from analytics.estimators.arrays import FloatArray, IntArray, as_numbers, same_length, tail
from analytics.estimators.interval import Interval, TooFew

CAP = 3.0
"""Scores are cut off here, so that one wild record cannot raise an alarm alone."""
LEARN = 10
"""Readings of a stream with unknown centre or spread that are learned from before it is scored."""


@dataclass(frozen=True)
class EvidenceStream:
    """Hold one kind of evidence about one instrument: master errors, paired differences, pack residuals.

    `times` (any increasing clock, for instance days) and `values` have one length. `gain` is the change of
    a value when the instrument reads one unit higher (+1 for a master error; for a pack residual minus one
    over the response). `centre` is the value without drift, None where it must be learned; `deviation` the
    standard deviation of one value, None where it must be learned.
    """

    name: str
    times: FloatArray
    values: FloatArray
    gain: float = 1.0
    centre: float | None = None
    deviation: float | None = None


@dataclass(frozen=True)
class ChangePoint:
    """Hold since when, by how much, and what was read since.

    `since` is the time of the first reading after the change, `earliest` and `latest` its credible range at
    `level`. `shift` is the change of the instrument's reading in its own unit. `after` are the places in
    the chart's order of all readings from the change on, also those after the alarm.
    """

    since: float
    earliest: float
    latest: float
    level: float
    shift: Interval
    after: tuple[int, ...]


@dataclass(frozen=True)
class DriftChart:
    """Hold the chart: one place a reading, in time order over all streams.

    `stream` and `position` say which reading stands at a place. `scores` are standard normal without drift
    (0 while a stream is still being learned), `expected` their mean under the drift looked for. `upward`
    and `downward` are the two cumulative sums, restarted after an alarm; `alarms` the places where one
    passed the threshold, `direction` of the first (+1 reads high); a drift that lasts goes on alarming.
    `change` is None without an alarm.
    """

    names: tuple[str, ...]
    stream: IntArray
    position: IntArray
    times: FloatArray
    scores: FloatArray
    expected: FloatArray
    upward: FloatArray
    downward: FloatArray
    threshold: float
    alarms: tuple[int, ...]
    direction: int
    change: ChangePoint | None


def drift_chart(
    streams: Sequence[EvidenceStream], shift: float, threshold: float, level: float = 0.90, minimum: int = 5
) -> DriftChart | TooFew:
    """Chart all evidence about one instrument against a drift of `shift` (unit of its readings).

    Each reading becomes a standard normal score: against its known centre and spread, or against the
    earlier readings of its stream through the t distribution (self-starting, Hawkins 1987), which are
    independent without drift whatever the unknown centre and spread. The two cumulative sums add the log
    likelihood ratio of the drift looked for, reading by reading (Page 1954; Lorden 1971), so that streams
    of unlike precision and timing weigh as they inform. Take `threshold` from `drift_threshold`.
    One chart runs from one adjustment of the instrument to the next: start anew when it was put right.
    Gives TooFew below `minimum` scored readings. Raises ValueError for times out of order, a shift or
    deviation not above zero, streams with one name.
    """
    _check(streams, shift, threshold)
    tail(level)
    parts = [_scored(stream, shift) for stream in streams]
    scored = sum(int((part[1] != 0).sum()) for part in parts)
    if scored < minimum:
        return TooFew("scored gauge readings", scored, minimum)
    order, stream, position, times = _merged(streams)
    scores = np.concatenate([part[0] for part in parts])[order]
    expected = np.concatenate([part[1] for part in parts])[order]
    upward, downward, alarms, signs = cumulative_sums(scores, expected, threshold)
    change = None
    if alarms:
        values = np.concatenate([item.values for item in streams])[order]
        change = _change_point(streams, stream, times, values, level)
    return DriftChart(
        tuple(item.name for item in streams), stream, position, times, scores, expected, upward, downward,
        threshold, alarms, signs[0] if signs else 0, change,
    )  # fmt: skip


def cumulative_sums(
    scores: FloatArray, expected: FloatArray, threshold: float
) -> tuple[FloatArray, FloatArray, tuple[int, ...], tuple[int, ...]]:
    """Run both cumulative sums of the log likelihood ratio, restarting each side after its alarm.

    `scores` and `expected` (mean score under the drift looked for) in time order. Returns the upward and
    the downward path, the places of alarms and their directions (+1, -1).
    """
    same_length(scores=scores, expected=expected)
    upward, downward = np.zeros(scores.size), np.zeros(scores.size)
    alarms, signs = [], []
    high = low = 0.0
    for place, (score, mean) in enumerate(zip(scores.tolist(), expected.tolist(), strict=True)):
        high = max(0.0, high + mean * score - mean * mean / 2)
        low = max(0.0, low - mean * score - mean * mean / 2)
        upward[place], downward[place] = high, low
        if max(high, low) > threshold:
            alarms.append(place)
            signs.append(1 if high >= low else -1)
            high = low = 0.0
    return upward, downward, tuple(alarms), tuple(signs)


def drift_threshold(
    expected: Sequence[FloatArray],
    years: float,
    alarms_per_year: float = 0.1,
    replicates: int = 400,
    seed: int = 20_117,
) -> float:
    """Find the threshold at which all charts together give at most `alarms_per_year` without drift.

    `expected` holds for each chart the mean scores under the drift looked for (`DriftChart.expected`, or a
    planned timetable), all over the same `years`. Standard normal scores are drawn for every reading,
    alarms counted with restarts, and the smallest threshold in steps of 0.05 taken whose alarm rate has an
    exact Poisson upper 95 % limit at or below the aim. Raises ValueError for years or an aim not above
    zero. Reproducible from `seed`.
    """
    if not years > 0 or not alarms_per_year > 0:
        raise ValueError(f"expected years and an alarm rate above zero, found {years} and {alarms_per_year}")
    designs = sorted((design[design != 0] for design in expected), key=lambda d: (d.size, d.tolist()))
    random = np.random.default_rng(seed)
    draws = [np.clip(random.standard_normal((d.size, replicates)), -CAP, CAP) for d in designs]
    low, high = 0, 400
    while high - low > 1:
        middle = (low + high) // 2
        count = sum(_count_alarms(d, scores, middle * 0.05) for d, scores in zip(designs, draws, strict=True))
        upper = special.gammaincinv(count + 1, 0.95) / (replicates * years)
        low, high = (low, middle) if upper <= alarms_per_year else (middle, high)
    return high * 0.05


def _count_alarms(expected: FloatArray, scores: FloatArray, threshold: float) -> int:
    high, low = np.zeros(scores.shape[1]), np.zeros(scores.shape[1])
    alarms = 0
    for mean, row in zip(expected, scores, strict=True):
        step = mean * row
        half = mean * mean / 2
        np.maximum(high + step - half, 0, out=high)
        np.maximum(low - step - half, 0, out=low)
        over = (high > threshold) | (low > threshold)
        if over.any():
            alarms += int(over.sum())
            high[over] = 0
            low[over] = 0
    return alarms


def _check(streams: Sequence[EvidenceStream], shift: float, threshold: float) -> None:
    if not shift > 0 or not threshold > 0:
        raise ValueError(f"expected a shift and a threshold above zero, found {shift} and {threshold}")
    if len({stream.name for stream in streams}) != len(streams):
        raise ValueError("expected streams with different names, found one name twice")
    for stream in streams:
        as_numbers(f"values of {stream.name}", stream.values)
        same_length(times=stream.times, values=stream.values)
        if (np.diff(as_numbers(f"times of {stream.name}", stream.times)) < 0).any():
            raise ValueError(f"expected the times of {stream.name} in order, found one before its forerunner")
        if stream.gain == 0 or (stream.deviation is not None and not stream.deviation > 0):
            raise ValueError(f"expected a gain other than zero and a deviation above zero for {stream.name}")


def _scored(stream: EvidenceStream, shift: float) -> tuple[FloatArray, FloatArray]:
    """Give each reading of a stream its score without drift and its mean under the drift."""
    values = np.asarray(stream.values, dtype=np.float64)
    count = np.arange(values.size, dtype=np.float64)
    centre, learned = _centre(stream, values, count)
    deviation, degrees = _deviation(stream, values, count, centre)
    ready = np.ones(values.size, dtype=bool)
    if stream.centre is None or stream.deviation is None:
        ready = (count >= LEARN) & (deviation > 0)
    safe = np.where(ready, deviation, 1.0)
    raw = np.where(ready, (values - centre) / safe / learned, 0.0)
    scores = raw if stream.deviation is not None else _normal_from_t(raw, degrees)
    expected = np.where(ready, stream.gain * shift / safe / learned, 0.0)
    return np.clip(scores, -CAP, CAP), expected


def _centre(
    stream: EvidenceStream, values: FloatArray, count: FloatArray
) -> tuple[FloatArray | float, FloatArray | float]:
    """Give the centre before each reading and the factor by which not knowing it widens the spread."""
    if stream.centre is not None:
        return stream.centre, 1.0
    before = np.maximum(count, 1)
    return (np.cumsum(values) - values) / before, np.sqrt(1 + 1 / before)


def _deviation(
    stream: EvidenceStream, values: FloatArray, count: FloatArray, centre: FloatArray | float
) -> tuple[FloatArray, FloatArray]:
    """Give the standard deviation known before each reading and its degrees of freedom."""
    if stream.deviation is not None:
        return np.full(values.size, stream.deviation), count
    origin = stream.centre if stream.centre is not None else (float(values[0]) if values.size else 0.0)
    moved = values - origin
    squares = np.cumsum(moved**2) - moved**2
    degrees = np.maximum(count, 1)
    if stream.centre is None:
        squares = squares - count * (np.asarray(centre) - origin) ** 2
        degrees = np.maximum(count - 1, 1)
    return np.sqrt(np.maximum(squares, 0) / degrees), degrees


def _normal_from_t(values: FloatArray, degrees: FloatArray) -> FloatArray:
    lower: FloatArray = special.ndtri(special.stdtr(np.maximum(degrees, 1), -np.abs(values)))
    return np.where(values < 0, lower, -lower)


def _merged(streams: Sequence[EvidenceStream]) -> tuple[IntArray, IntArray, IntArray, FloatArray]:
    ranks = np.argsort(np.argsort(np.array([item.name for item in streams])))
    stream = np.concatenate([np.full(item.values.size, i) for i, item in enumerate(streams)]).astype(np.int64)
    position = np.concatenate([np.arange(item.values.size) for item in streams]).astype(np.int64)
    times = np.concatenate([np.asarray(item.times, dtype=np.float64) for item in streams])
    order = np.lexsort((position, ranks[stream], times))
    return order, stream[order], position[order], times[order]


def _change_point(
    streams: Sequence[EvidenceStream], stream: IntArray, times: FloatArray, values: FloatArray, level: float
) -> ChangePoint:
    """Estimate when the drift began, from all readings.

    Every split of the readings is weighed by the likelihood of a step in the instrument there, with
    unknown size (flat) and each unknown centre profiled out.
    """
    stop = times.size
    score, information = np.zeros(stop), np.zeros(stop)
    for number, item in enumerate(streams):
        places = np.flatnonzero(stream[:stop] == number)
        part = _split_evidence(item, values[places], places, stop)
        score += part[0]
        information += part[1]
    splits = np.flatnonzero(information > 0)
    log_weight = score[splits] ** 2 / information[splits] / 2 - np.log(information[splits]) / 2
    weight = np.exp(log_weight - log_weight.max())
    cumulative = np.cumsum(weight) / weight.sum()
    side = tail(level)
    best = int(splits[np.argmax(score[splits] ** 2 / information[splits])])
    earliest, latest = (
        int(splits[min(int(np.searchsorted(cumulative, share)), splits.size - 1)]) for share in (side, 1 - side)
    )
    size = float(score[best] / information[best])
    half = float(-special.ndtri(side) / np.sqrt(information[best]))
    shift = Interval(
        size, size - half, size + half, stop - best, stop - best, level, "least squares at the change point"
    )
    return ChangePoint(
        float(times[best]), float(times[min(earliest, best)]), float(times[max(latest, best)]), level, shift,
        tuple(range(best, times.size)),
    )  # fmt: skip


def _split_evidence(
    item: EvidenceStream, values: FloatArray, places: IntArray, stop: int
) -> tuple[FloatArray, FloatArray]:
    """Give score and information about the instrument's step for a split before each place."""
    if values.size < 3:
        return np.zeros(stop), np.zeros(stop)
    spread = item.deviation if item.deviation is not None else _robust_spread(values)
    after = values.size - np.searchsorted(places, np.arange(stop))
    before = values.size - after
    tails = np.concatenate([np.cumsum(values[::-1])[::-1], [0.0]])[before]
    # An unknown centre is profiled out: what counts is the contrast of the two means.
    centre = values.mean() if item.centre is None else item.centre
    share = before / values.size if item.centre is None else np.ones(stop)
    score: FloatArray = item.gain / spread**2 * (tails - after * centre)
    information: FloatArray = (item.gain / spread) ** 2 * after * share
    return score, information


def _robust_spread(values: FloatArray) -> float:
    """Estimate a spread that a step does not inflate: root mean squared difference of neighbours over 2."""
    return float(max(np.sqrt(np.mean(np.diff(values) ** 2) / 2), 1e-12))
