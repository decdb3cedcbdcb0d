"""Answer: has a gauge gone off, since when, and which jobs were set with it since?"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

import numpy as np
import polars as pl

from analytics.answer import Answer, Assumption, Column
from analytics.estimators.drift_chart import DriftChart, drift_chart, drift_threshold
from analytics.estimators.ewma_chart import ewma_chart
from analytics.estimators.interval import TooFew
from analytics.gauge_evidence import (
    BESIDE,
    MASTER,
    PACKS,
    STRIP,
    GaugeEvidence,
    gauge_checks,
    gauge_evidence,
    gauge_pairs,
)
from analytics.gauge_patterns import REFUSED, PatternChart, pattern_charts, pattern_rows
from analytics.history import History
from analytics.question import Question
from analytics.scope import Scope
from analytics.setting_history import NEWEST_JOBS, SettingHistory
from analytics.setting_jobs import jobs_of_rows
from analytics.wording import count_of, day

ALARMS_PER_YEAR = 0.01  # of all gauges together: one false alarm in ten workshops' ten years
REPLICATES = 200
METHOD = (
    "Accepted readings cannot show a drift: they were accepted by the gauge that drifted. What can: readings on the "
    "master, two gauges in one pair of hands, strips read with another gauge, and the packs that units needed. Each "
    "becomes a score by how much it tells, learned from its own past (Hawkins 1987); two cumulative sums of the log "
    "likelihood ratio look for a drift of one standard deviation of a single reading (Page 1954). The threshold is "
    "simulated for all gauges together: at most 0.01 false alarms a year. Contact patterns, which show where the pinion "
    "truly runs, have charts of their own beside them (Steiner and others 2000): more of them low or high on the tooth, "
    "or refused, than jobs alike make likely; 0.02 false alarms a year. Since when: the earlier of the likeliest "
    "step and the day on which the sum left nought; 90 % credible range of a step."
)
_LAST = dt.date.max
_SCHEMA: dict[str, pl.DataType | type[pl.DataType]] = {
    "instrument": pl.String, "quantity": pl.String, "verdict": pl.String, "off_um": pl.Float64, "off_low": pl.Float64,
    "off_high": pl.Float64, "since": pl.Date, "since_earliest": pl.Date, "since_latest": pl.Date,
    "found_on": pl.Date, "jobs_since": pl.Int64, "looks_for": pl.Float64, "masters": pl.Int64, "pairs": pl.Int64,
    "strips": pl.Int64, "packs": pl.Int64, "pattern_off_before": pl.String, "pattern_off_since": pl.String,
    "pattern_sense": pl.String, "patterns_tell_on": pl.Date, "patterns": pl.Int64,
    "noise_since": pl.Int64, "said": pl.String,
}  # fmt: skip


def gauge_check(history: History, options: Mapping[str, str]) -> Answer:
    """Return one row per gauge: gone off or not, by how much, since when, and how many jobs were set with it since.

    Rows: instrument, quantity, verdict (in order, reads high, reads low, patterns refused, too few to say); off_um with
    90 % limits (um or mN.m above the truth since the change), since with its earliest and latest day, found_on (day of
    the first alarm), jobs_since; pattern_sense and patterns_tell_on (what the contact patterns' own chart says of the
    gauge, and since which day it says so), patterns (scored); looks_for (drift looked for, one standard deviation of a
    reading); numbers of masters, pairs, strips, packs; pattern_off_before and pattern_off_since (contact patterns out
    of the middle, of those read), noise_since (jobs set since that came back). Curves: `chart` (day, instrument, kind,
    score, upward, downward, threshold), `masters` (day, instrument, error_um, mean_um, lower_um, upper_um: weighted
    mean and its limits), `patterns` (instrument, sense, day, statistic, threshold). All gauges are charted whatever
    the family asked for: a gauge is not a family's.
    """
    setting = SettingHistory(history.within(Scope()), None, NEWEST_JOBS)
    checks = gauge_checks(history)
    evidence = gauge_evidence(checks, gauge_pairs(history, setting.after), read_rows(setting))
    charts, threshold = gauge_charts(evidence, _deviations(setting, checks))
    jobs = _jobs_read(setting)
    seen = pattern_charts(pattern_rows(history, jobs))
    patterns = history.query(_PATTERNS)
    table = pl.DataFrame(
        [_row(e, charts[e.instrument, e.quantity], jobs, patterns, setting, seen) for e in evidence], schema=_SCHEMA
    ).sort(pl.col("found_on").is_null(), "found_on", "instrument", descending=[False, True, False])
    sentence, number, about = _sentence(table)
    return Answer(
        question="gauge-check",
        as_of=history.as_of,
        warehouse_version=history.warehouse.version,
        filters=history.scope.filters(),
        sentence=sentence,
        number=number,
        number_about=about,
        method=METHOD,
        grain="one row per gauge and what it reads",
        rows=table,
        columns=_COLUMNS,
        notes=_notes(table),
        assumptions=_ledger(setting, table, threshold),
        curves={
            "chart": _chart_curve(evidence, charts, threshold),
            "masters": _masters_curve(checks),
            "patterns": _patterns_curve(seen),
        },
    )


def gauge_charts(
    evidence: tuple[GaugeEvidence, ...], deviations: Mapping[tuple[str, str], float]
) -> tuple[dict[tuple[str, str], DriftChart | TooFew], float]:
    """Chart every gauge with one threshold for all of them together; returns charts by gauge and quantity."""
    charted: dict[tuple[str, str], DriftChart | TooFew] = {}
    planned = [e for e in evidence if e.streams and (e.instrument, e.quantity) in deviations]
    first = {
        (e.instrument, e.quantity): drift_chart(e.streams, deviations[e.instrument, e.quantity], 1e9) for e in planned
    }
    drawn = [chart for chart in first.values() if isinstance(chart, DriftChart)]
    threshold = _threshold(drawn)
    for e in evidence:
        key = (e.instrument, e.quantity)
        if key not in first:
            charted[key] = TooFew("readings of one kind", max(e.counts.values(), default=0), 12)
            continue
        chart = first[key]
        charted[key] = chart if isinstance(chart, TooFew) else drift_chart(e.streams, deviations[key], threshold)
    return charted, threshold


def _threshold(charts: list[DriftChart]) -> float:
    if not charts:
        return 10.0
    times = [chart.times for chart in charts]
    years = (max(t[-1] for t in times) - min(t[0] for t in times)) / 365.25
    # What matters is how many readings there are and how much each tells: rounded, so that days share the answer.
    plan = tuple(
        sorted(
            tuple(
                (round(float(value), 1), round(int(count) / years + 0.5))
                for value, count in zip(
                    *np.unique(np.round(c.expected[c.expected != 0], 1), return_counts=True), strict=True
                )
            )
            for c in charts
        )
    )
    return _threshold_of(plan)


@lru_cache(maxsize=64)
def _threshold_of(plan: tuple[tuple[tuple[float, int], ...], ...]) -> float:
    """Return the threshold for readings a year of each worth, per gauge, simulated over ten years."""
    order = np.random.default_rng(7)
    designs = [
        order.permutation(np.concatenate([np.full(10 * count, value) for value, count in gauge]))
        for gauge in plan
        if gauge
    ]
    return drift_threshold(designs, 10.0, ALARMS_PER_YEAR, REPLICATES)


def read_rows(setting: SettingHistory) -> pl.DataFrame:
    """Return the rows of `set_rows` that a gauge read: the sum of two side packs is set by no reading of its own."""
    return setting.rows.filter((pl.col("coordinate") != "total") & pl.col("instrument").is_not_null())


def _deviations(setting: SettingHistory, checks: pl.DataFrame) -> dict[tuple[str, str], float]:
    """Return the drift looked for: one standard deviation of a single reading, per gauge and quantity."""
    found = {}
    for frame in (checks, read_rows(setting)):
        for instrument, quantity in frame.select("instrument", "quantity").unique().iter_rows():
            error = setting.reading_error(quantity)
            if error > 0:
                found[instrument, quantity] = error
    return found


def _jobs_read(setting: SettingHistory) -> pl.DataFrame:
    """Return the jobs set with each gauge: instrument, quantity, job, known_on."""
    return read_rows(setting).select(
        "instrument", "quantity", "job", "place", "known_on", "gear_set"
    ).unique(["instrument", "quantity", "job"], keep="first", maintain_order=True)  # fmt: skip


_PATTERNS = """
with last as (select job, arg_max(drive_lengthwise, trial) as drive from known_contact_pattern group by job),
back as (select distinct original_job as job from known_comeback where coalesce(outcome, 'our_work') = 'our_work')
select j.job, l.drive, b.job is not null as came_back
from known_job as j left join last as l using (job) left join back as b using (job)
where l.drive is not null or b.job is not null
"""


def _row(
    evidence: GaugeEvidence, chart: DriftChart | TooFew, jobs: pl.DataFrame, patterns: pl.DataFrame,
    setting: SettingHistory, seen: tuple[PatternChart, ...],
) -> dict[str, Any]:  # fmt: skip
    row: dict[str, Any] = {
        "instrument": evidence.instrument, "quantity": evidence.quantity, "masters": evidence.counts[MASTER],
        "pairs": evidence.counts[BESIDE], "strips": evidence.counts[STRIP], "packs": evidence.counts[PACKS],
        "looks_for": setting.reading_error(evidence.quantity) or None,
    }  # fmt: skip
    mine = jobs.filter(
        (pl.col("instrument") == evidence.instrument) & (pl.col("quantity") == evidence.quantity)
    ).join(patterns, on="job", how="left", maintain_order="left")  # fmt: skip
    told = [c for c in seen if (c.instrument, evidence.quantity) == (evidence.instrument, "pinion_depth")]
    row["patterns"] = max((len(c.days) for c in told), default=None)
    first = min((c for c in told if c.found_on is not None), key=lambda c: c.found_on or _LAST, default=None)
    if first is not None:
        row |= {"pattern_sense": first.sense, "patterns_tell_on": first.found_on}
    if isinstance(chart, TooFew) or not chart.alarms or chart.change is None:
        return row | _by_patterns(chart, first, mine)
    change = chart.change
    onset = _onset(chart)
    since = _day(min(change.since, onset))
    after, before = mine.filter(pl.col("known_on") >= since), mine.filter(pl.col("known_on") < since)
    row |= {"pattern_off_before": _off_middle(before), "pattern_off_since": _off_middle(after)}
    return row | {
        "verdict": "reads high" if change.shift.estimate > 0 else "reads low",
        "off_um": change.shift.estimate, "off_low": change.shift.lower, "off_high": change.shift.upper,
        "since": since, "since_earliest": _day(min(change.earliest, onset)), "since_latest": _day(change.latest),
        "found_on": min(_day(float(chart.times[chart.alarms[0]])), row.get("patterns_tell_on") or _LAST),
        "jobs_since": after["job"].n_unique(), "noise_since": int(after["came_back"].fill_null(False).sum()),
    }  # fmt: skip


def _by_patterns(chart: DriftChart | TooFew, first: PatternChart | None, mine: pl.DataFrame) -> dict[str, Any]:
    """Return what is said of a gauge whose readings raise no alarm: its patterns may."""
    if first is None:
        return (
            {"verdict": "too few to say", "said": str(chart)} if isinstance(chart, TooFew) else {"verdict": "in order"}
        )
    after, before = (
        mine.filter(side) for side in (pl.col("known_on") >= first.since, pl.col("known_on") < first.since)
    )
    return {
        "verdict": first.sense if first.sense == REFUSED else f"{first.sense} by its patterns", "since": first.since,
        "found_on": first.found_on,
        "pattern_off_before": _off_middle(before), "pattern_off_since": _off_middle(after),
        "jobs_since": after["job"].n_unique(), "noise_since": int(after["came_back"].fill_null(False).sum()),
    }  # fmt: skip


def _onset(chart: DriftChart) -> float:
    """Return when the sum that raised the first alarm last left nought (Page 1954): a creeping drift starts there."""
    alarm = chart.alarms[0]
    path = chart.upward if chart.direction > 0 else chart.downward
    idle = np.flatnonzero((path[:alarm] == 0) & (chart.expected[:alarm] != 0))
    return float(chart.times[min(int(idle[-1]) + 1, alarm)]) if idle.size else float(chart.times[0])


def _off_middle(rows: pl.DataFrame) -> str | None:
    known = rows.filter(pl.col("drive").is_not_null())
    return f"{known.filter(pl.col('drive') != 'centre').height} of {known.height}" if known.height else None


def _day(clock: float) -> dt.date:
    return dt.date(1970, 1, 1) + dt.timedelta(days=int(clock))


def _sentence(table: pl.DataFrame) -> tuple[str, str, str]:
    if table.is_empty():
        return "No gauge is on record: neither readings on a master nor readings with a gauge's name.", "", ""
    off = table.filter(pl.col("found_on").is_not_null())
    told = table.filter(pl.col("verdict") != "too few to say").height
    if off.is_empty():
        if not told:
            return f"Of every gauge {table['said'].drop_nulls()[0]}.", "", ""
        return f"No gauge shows a drift ({count_of(told, 'gauge')} charted).", "0", f"of {told} gauges gone off"
    row = off.row(0, named=True)
    sentence = (
        f"{row['instrument']} {row['verdict']}{_amount(row['off_um'], row['quantity'])} since about "
        f"{day(row['since'])}; {count_of(row['jobs_since'], 'job')} were set with it since"
    )
    if off.height > 1:
        sentence += f" (and {count_of(off.height - 1, 'other gauge')} gone off)"
    return sentence + ".", f"{row['jobs_since']}", f"jobs to look at again: {row['instrument']}"


def _amount(value: float | None, quantity: str) -> str:
    """Return by how much, nothing where only the patterns speak: they do not tell it."""
    return "" if value is None else f" by {abs(value) / 1000:.3f} {'N.m' if quantity.endswith('torque') else 'mm'}"


def _notes(table: pl.DataFrame) -> tuple[str, ...]:
    notes = [
        f"{row['instrument']}: contact patterns out of the middle {row['pattern_off_since']} since, "
        f"{row['pattern_off_before']} before; {count_of(row['noise_since'], 'job')} set since came back."
        for row in table.filter(pl.col("pattern_off_since").is_not_null()).iter_rows(named=True)
    ]
    alone = table.filter((pl.col("masters") == 0) & (pl.col("verdict") != "too few to say"))["instrument"].to_list()
    if alone:
        notes.append(f"Never read on a master: {', '.join(alone)}. A master check a month would tell sooner.")
    return (*notes, "A used set goes back to what the same gauge read before the strip: such jobs suffer less.")


def _ledger(setting: SettingHistory, table: pl.DataFrame, threshold: float) -> tuple[Assumption, ...]:
    counts = {name: int(table[name].sum()) for name in ("masters", "pairs", "strips", "packs")}
    return (
        *setting.counted(),
        Assumption("Readings on the master", counts["masters"], None),
        Assumption("Two gauges in one pair of hands, seen from each", counts["pairs"], None),
        Assumption("Strips read with another gauge than the build", counts["strips"], None),
        Assumption("Packs against the family's earlier ones", counts["packs"], None),
        Assumption(
            "Contact patterns against those of earlier jobs alike (gear set kept or changed), whatever the gauge",
            int(table["patterns"].sum()),
            None,
        ),
        Assumption(f"Alarm at a cumulative sum of {threshold:.2f}; one chart a gauge from its first reading on", None),
    )


def _chart_curve(
    evidence: tuple[GaugeEvidence, ...], charts: Mapping[tuple[str, str], DriftChart | TooFew], threshold: float
) -> pl.DataFrame:
    schema: dict[str, pl.DataType | type[pl.DataType]] = {
        "instrument": pl.String, "quantity": pl.String, "day": pl.Date, "kind": pl.String, "score": pl.Float64,
        "upward": pl.Float64, "downward": pl.Float64, "threshold": pl.Float64,
    }  # fmt: skip
    frames = [pl.DataFrame(schema=schema)]
    for e in evidence:
        chart = charts[e.instrument, e.quantity]
        if isinstance(chart, TooFew):
            continue
        frames.append(
            pl.DataFrame(
                {"day": chart.times.astype(np.int32), "kind": [chart.names[s] for s in chart.stream],
                 "score": chart.scores, "upward": chart.upward, "downward": chart.downward}
            ).with_columns(
                pl.col("day").cast(pl.Date), pl.lit(e.instrument).alias("instrument"),
                pl.lit(e.quantity).alias("quantity"), pl.lit(threshold).alias("threshold"),
            ).select(list(schema))
        )  # fmt: skip
    return pl.concat(frames)


def _patterns_curve(charts: tuple[PatternChart, ...]) -> pl.DataFrame:
    schema: dict[str, pl.DataType | type[pl.DataType]] = {
        "instrument": pl.String, "sense": pl.String, "day": pl.Date, "statistic": pl.Float64, "threshold": pl.Float64,
    }  # fmt: skip
    frames = [
        pl.DataFrame({"day": list(c.days), "statistic": c.statistic}, schema_overrides={"day": pl.Date}).select(
            pl.lit(c.instrument).alias("instrument"), pl.lit(c.sense).alias("sense"), "day", "statistic",
            pl.lit(c.threshold).alias("threshold"),
        )
        for c in charts
    ]  # fmt: skip
    return pl.concat([pl.DataFrame(schema=schema), *frames])


def _masters_curve(checks: pl.DataFrame) -> pl.DataFrame:
    """Return per gauge the weighted mean of its errors on the master with its limits (EWMA, irregular gaps)."""
    schema: dict[str, pl.DataType | type[pl.DataType]] = {
        "instrument": pl.String, "quantity": pl.String, "day": pl.Date, "error_um": pl.Float64, "mean_um": pl.Float64,
        "lower_um": pl.Float64, "upper_um": pl.Float64,
    }  # fmt: skip
    frames = [pl.DataFrame(schema=schema)]
    for (instrument, quantity), part in sorted(
        checks.partition_by("instrument", "quantity", maintain_order=True, as_dict=True).items()
    ):
        values = part["value"].to_numpy()
        spread = float(np.sqrt(np.mean(np.diff(values) ** 2) / 2)) if values.size >= 12 else 0.0
        if spread <= 0:
            continue
        days = part["day"].cast(pl.Int32).to_numpy().astype(float)
        chart = ewma_chart(values, 0.0, spread, times=days)
        frames.append(
            part.select(
                pl.lit(instrument).alias("instrument"), pl.lit(quantity).alias("quantity"), "day",
                pl.col("value").alias("error_um"), pl.Series("mean_um", chart.means),
                pl.Series("lower_um", chart.lower), pl.Series("upper_um", chart.upper),
            )
        )  # fmt: skip
    return pl.concat(frames)


_COLUMNS = (
    Column("instrument", "Gauge"),
    Column("quantity", "Reads"),
    Column("verdict", "Verdict"),
    Column("off_um", "Off by", "reads above the truth since the change (torques in N.m)", "um"),
    Column("off_low", "from", "lower 90 % limit", "um"),
    Column("off_high", "to", "upper 90 % limit", "um"),
    Column("since", "Since about"),
    Column("since_earliest", "Earliest", "start of the 90 % credible range"),
    Column("since_latest", "Latest", "end of the 90 % credible range"),
    Column("found_on", "Shown on", "day on which the evidence was enough"),
    Column("jobs_since", "Jobs since", "jobs set with it since, to look at again"),
    Column("pattern_off_since", "Patterns off since", "contact patterns out of the middle, of those read"),
    Column("pattern_off_before", "Patterns off before"),
    Column("pattern_sense", "Patterns say", "what the chart of its contact patterns says of it"),
    Column("patterns_tell_on", "Patterns tell on", "day on which their evidence was enough"),
    Column("patterns", "Patterns", "contact patterns scored"),
    Column("noise_since", "Came back since", "jobs set since that came back for our work"),
    Column("looks_for", "Looks for", "one standard deviation of a single reading", "um"),
    Column("masters", "On the master"),
    Column("pairs", "Beside another"),
    Column("strips", "Strips", "found with another gauge"),
    Column("packs", "Packs"),
    Column("said", "If too few"),
)


def _jobs_behind(history: History, row: Mapping[str, str]) -> pl.DataFrame:
    setting = SettingHistory(history.within(Scope()), None, NEWEST_JOBS)
    mine = _jobs_read(setting).filter(
        (pl.col("instrument") == row.get("instrument", "")) & (pl.col("quantity") == row.get("quantity", ""))
    )
    if row.get("since"):
        mine = mine.filter(pl.col("known_on") >= dt.date.fromisoformat(row["since"][:10]))
    told = [
        f"{place} set with {row.get('instrument')}, gear set {gear_set}"
        for place, gear_set in mine.select("place", "gear_set").iter_rows()
    ]
    return jobs_of_rows(history, mine.select("job", pl.Series("because", told, dtype=pl.String)))


GAUGE_CHECK = Question(
    name="gauge-check",
    about="Whether a gauge has gone off, since when and by how much, and the jobs set with it since",
    for_whom="lead technician",
    ask=gauge_check,
    jobs_behind=_jobs_behind,
)
