"""Answer: what has become worse than ordinary work explains, since when, and what is to be done about it?"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

import polars as pl

from analytics.answer import Answer, Assumption, Column
from analytics.estimators.poisson_rate import observed_to_expected
from analytics.history import History
from analytics.job_list import jobs_behind
from analytics.question import Option, Question
from analytics.watch_acknowledged import Acknowledged, read_acknowledged
from analytics.watch_details import NextSteps, lot_jobs_out, lot_steps, period_odds, what_they_share
from analytics.watch_evidence import (
    COMEBACK_RATIO,
    FINDING_RATIO,
    LOT_RATIO,
    MINIMUM_PIECES,
    every_stream,
    first_day,
)
from analytics.watch_placebo import Placebo, placebo
from analytics.watch_power import power_table
from analytics.watch_run import LEARNING_MONTHS, Alarm, LeftOut, Ran, run_list
from analytics.watch_streams import Streams, day_of, month_number
from analytics.wording import count_of, day

ALARMS_A_YEAR = 1.0  # of ordinary work, for the whole list
KINDS = 3  # the promise is shared out evenly among comebacks, lots and findings
NEW_DAYS = 365
LEAST_EXPECTED = 0.01  # events below which it is not told how many times the ordinary were seen
MOST_DETAILED = 12  # alarms whose next steps are looked up at once
METHOD = (
    "A running sum for each family, component and damage mode, of comebacks and of findings in full strips, and for "
    "each supplier's lot of comebacks: it rises with each event on the day it became known and falls with what "
    f"ordinary work would have brought meanwhile (log likelihood ratio of {COMEBACK_RATIO:g} times as many comebacks, "
    f"{LOT_RATIO:g} times for a lot, {FINDING_RATIO:g} times the odds of a finding). Adjusted for months since "
    "delivery, and findings for distance run. Ordinary is a chart's own past older than a year, drawn towards charts "
    "alike; for a lot the other lots of the component. One threshold for the whole list, uncertainty of what is "
    "ordinary included: at most one false alarm a year of ordinary work."
)


@dataclass(frozen=True)
class _Kind:
    """Hold one kind of charts, its run, and the months of its alarms that were acknowledged."""

    streams: Streams
    ran: Ran
    left_out: tuple[LeftOut, ...]


def watch(history: History, options: Mapping[str, str]) -> Answer:
    """Return every alarm of the watch list, those not acknowledged first, the newest first.

    Rows: chart (its key), what, kind, family, component, damage_mode, supplier, part, lot, since, raised, seen,
    expected, ratio with low and high (exact), odds_ratio with limits, shares, fitted, still_out, in_warranty, on_shelf,
    shelf_note, claim, credited, acknowledged_on, note.
    Curves: "power" (chance that a lot is caught by its number fitted and how bad it is), "placebo" (false alarms on the
    workshop's own shuffled records), "still_out" (jobs with a suspect lot still out).
    """
    acknowledged = read_acknowledged(options.get("acknowledged"), history.as_of)
    first = first_day(history)
    kinds, frame = _watched(history, first, acknowledged)
    tried = _tried(history, kinds, acknowledged, int(options["shuffles"])) if kinds else None
    sentence, number, about = _sentence(history, frame, kinds)
    return Answer(
        question="watch",
        as_of=history.as_of,
        warehouse_version=history.warehouse.version,
        filters=history.scope.filters(),
        sentence=sentence,
        number=number,
        number_about=about,
        method=METHOD,
        grain="one row per alarm, acknowledged ones last",
        rows=frame,
        columns=COLUMNS,
        notes=_notes(kinds, tried),
        assumptions=_ledger(kinds),
        curves={
            "power": power_table([k.ran.settings for k in kinds if k.streams.kind == "lots"], LOT_RATIO),
            "placebo": _placebo_frame(tried),
            "still_out": _still_out(history, frame),
        },
    )


def _alarms(history: History, kinds: list[_Kind], acknowledged: tuple[Acknowledged, ...]) -> pl.DataFrame:
    """Return the alarms, those not acknowledged first, the newest first; next steps are looked up for the first ones."""
    found = [(kind, alarm, _row(kind, alarm, acknowledged)) for kind in kinds for alarm in kind.ran.alarms]
    found.sort(key=lambda one: (one[2]["acknowledged_on"] is not None, -one[2]["raised"].toordinal(), one[2]["chart"]))
    rows = [
        {**row, **_next_steps(history, kind, alarm)} if place < MOST_DETAILED else row
        for place, (kind, alarm, row) in enumerate(found)
    ]
    return pl.DataFrame([{name: row.get(name) for name in SCHEMA} for row in rows], schema=SCHEMA)


def _watched(
    history: History, first: dt.date | None, acknowledged: tuple[Acknowledged, ...]
) -> tuple[list[_Kind], pl.DataFrame]:
    """Return the charts as they ran and their alarms; one more acknowledged runs them again on the same evidence."""
    kept, view = history.warehouse.kept_large, (history.as_of, history.scope)

    def run() -> tuple[list[_Kind], pl.DataFrame]:
        streams = () if first is None else kept.get(("watch charts", *view), lambda: every_stream(history, first))
        kinds = [_with_acknowledged(one, acknowledged) for one in streams]
        return kinds, _alarms(history, kinds, acknowledged)

    watched: tuple[list[_Kind], pl.DataFrame] = kept.get(("watch", *view, acknowledged), run)
    return watched


def _tried(history: History, kinds: list[_Kind], acknowledged: tuple[Acknowledged, ...], draws: int) -> Placebo:
    """Return what shuffled records raise, counted once a view: as long a work as all the rest."""
    key = ("placebo", history.as_of, history.scope, acknowledged, draws)
    found: Placebo = history.warehouse.kept.get(
        key, lambda: placebo([(k.streams, k.ran.settings) for k in kinds], draws)
    )
    return found


def _with_acknowledged(streams: Streams, acknowledged: tuple[Acknowledged, ...]) -> _Kind:
    """Run the charts; the months of alarms that were acknowledged are not ordinary work for any chart."""
    share = ALARMS_A_YEAR / KINDS
    ran = run_list(streams, share)
    left_out = []
    for place, row in enumerate(streams.labels.iter_rows(named=True)):
        for one in acknowledged:
            if one.chart == chart_key(streams.kind, row):
                began = [a.since for a in ran.alarms if a.chart == place and _raised(streams, a) == one.raised]
                until = month_number(streams.first, one.acknowledged_on)
                since = began[0] if began else month_number(streams.first, one.raised)
                left_out.append(LeftOut(place, max(float(since), 0.0), min(float(until), streams.months - 1)))
    return _Kind(streams, run_list(streams, share, left_out) if left_out else ran, tuple(left_out))


def chart_key(kind: str, label: Mapping[str, Any]) -> str:
    """Return the natural key of a chart, which survives reloads."""
    names = ("supplier", "part", "lot") if kind == "lots" else ("family", "component", "damage_mode")
    return " / ".join([kind, *(str(label[name]) for name in names)])


def _raised(streams: Streams, alarm: Alarm) -> dt.date:
    return day_of(streams.first, alarm.raised)


def _row(kind: _Kind, alarm: Alarm, acknowledged: tuple[Acknowledged, ...]) -> dict[str, Any]:
    streams, label = kind.streams, kind.streams.labels.row(alarm.chart, named=True)
    key, raised = chart_key(streams.kind, label), _raised(streams, alarm)
    known = [a for a in acknowledged if a.chart == key and a.acknowledged_on >= raised]
    ratio, low, high = times_ordinary(alarm.events, alarm.expected)
    named = {name: label.get(name) for name in ("family", "component", "damage_mode", "supplier", "part", "lot")}
    return {
        **named, "chart": key, "what": _what(streams.kind, label), "kind": streams.kind,
        "since": day_of(streams.first, alarm.since), "raised": raised, "seen": alarm.events,
        "expected": round(alarm.expected, 3), "ratio": ratio, "low": low, "high": high,
        "acknowledged_on": known[0].acknowledged_on if known else None,
        "note": known[0].note if known else None,
    }  # fmt: skip


def times_ordinary(seen: int, expected: float) -> tuple[float | None, float | None, float | None]:
    """Return seen over expected with exact limits, None where next to nothing was expected: times that says nothing."""
    if expected < LEAST_EXPECTED:
        return None, None, None
    limits = observed_to_expected([seen], [expected])
    return float(limits.estimate[0]), float(limits.lower[0]), float(limits.upper[0])


def _next_steps(history: History, kind: _Kind, alarm: Alarm) -> dict[str, Any]:
    """Return what to do about an alarm, and what its jobs share."""
    streams, label = kind.streams, kind.streams.labels.row(alarm.chart, named=True)
    if streams.kind == "lots":
        return asdict(lot_steps(history, label))
    jobs = _job_names(history, streams, alarm)
    steps = asdict(_since_and_before(kind, alarm))
    return {**steps, "shares": what_they_share(history, jobs, label["component"])}


def _job_names(history: History, streams: Streams, alarm: Alarm) -> list[str]:
    """Return the names of the jobs of an alarm, once for each of its events, in their order."""
    numbers = streams.event_job[list(alarm.rows)].tolist()
    frame = history.query(
        "select job_id, job from known_job semi join (select unnest($numbers) as job_id) using (job_id)",
        {"numbers": numbers},
    )
    names = dict(frame.iter_rows())
    return [names[number] for number in numbers]


def _what(kind: str, label: Mapping[str, Any]) -> str:
    component = str(label["component"]).replace("_", " ")
    if kind == "lots":
        supplier = f" from {label['supplier']}" if label["supplier"] else ""
        return f"lot {label['lot']} of {label['part']}{supplier} comes back"
    mode = str(label["damage_mode"]).replace("_", " ")
    return f"{component} of {label['family']}: {mode} {'comes back' if kind == 'comebacks' else 'found'}"


def _since_and_before(kind: _Kind, alarm: Alarm) -> NextSteps:
    """Return the odds since the alarm's rise against before, where an event is a case of an inspection."""
    streams = kind.streams
    if streams.cases is None:
        return NextSteps()
    events, cases, cut = streams.events[alarm.chart], streams.cases[alarm.chart], int(alarm.since)
    end = int(alarm.last) + 1
    seen, before = int(events[cut:end].sum()), int(events[:cut].sum())
    odds, low, high = period_odds(seen, float(cases[cut:end].sum()), before, float(cases[:cut].sum()))
    return NextSteps(odds, low, high)


def _sentence(history: History, frame: pl.DataFrame, kinds: list[_Kind]) -> tuple[str, str, str]:
    charts = sum(k.ran.settings.alive for k in kinds)
    if not kinds or max(k.streams.months for k in kinds) <= LEARNING_MONTHS:
        months = max((k.streams.months for k in kinds), default=0)
        return f"Too few to say ({months} of {LEARNING_MONTHS + 1} months on record).", "", ""
    new = frame.filter(
        pl.col("acknowledged_on").is_null() & (pl.col("raised") > history.as_of - dt.timedelta(days=NEW_DAYS))
    )
    waiting = frame.filter(pl.col("acknowledged_on").is_null())
    number, about = str(waiting.height), "alarms not acknowledged" if waiting.height != 1 else "alarm not acknowledged"
    if waiting.is_empty():
        return f"Nothing stands out: none of {charts} charts has an alarm that is not acknowledged.", number, about
    top = waiting.row(0, named=True)
    told = (
        f"{count_of(waiting.height, 'alarm')} to look at, {new.height} of the last 12 months. First: {top['what']}, "
        f"since {day(top['since'])} ({top['seen']} seen, {top['expected']:.1f} to be expected)"
    )
    if top["still_out"]:
        told += f"; {count_of(top['still_out'], 'job')} with it still out, {top['in_warranty']} of them in warranty"
    return told + ".", number, about


def _notes(kinds: list[_Kind], tried: Placebo | None) -> tuple[str, ...]:
    if not kinds:
        return ()
    promised = sum(k.ran.settings.promised for k in kinds)
    notes = [
        f"Promise: at most {ALARMS_A_YEAR:g} false alarm a year; the {sum(k.ran.settings.alive for k in kinds)} charts "
        f"are set to {promised:.2f} a year.",
        "An alarm is picked because it is large: its ratio will read lower next time. An association, not a cause.",
    ]
    left_out = sum(len(k.left_out) for k in kinds)
    if left_out:
        notes.append(
            f"{count_of(left_out, 'alarm')} acknowledged: the months from rise to acknowledgement no longer count as "
            "ordinary work, which also changes the figures of other alarms and can raise or clear them."
        )
    raised = sum(len(k.ran.alarms) for k in kinds)
    if raised > MOST_DETAILED:
        notes.append(f"What to do is looked up for the first {MOST_DETAILED} of {raised} alarms; narrow down for more.")
    if tried is not None and tried.years:
        notes.append(
            "Tried on these records with the labels shuffled: "
            f"{count_of(tried.alarms, 'false alarm')} in {tried.years:.0f} years, "
            f"{tried.a_year:.2f} a year ({tried.lower:.2f} to {tried.upper:.2f})."
        )
    return tuple(notes)


def _ledger(kinds: list[_Kind]) -> tuple[Assumption, ...]:
    lines = []
    for kind in kinds:
        streams = kind.streams
        watched = int((streams.event_time >= LEARNING_MONTHS).sum())
        text = {
            "comebacks": "Comebacks with a known component, on the day they became known",
            "lots": f"Comebacks for a piece of a lot of at least {MINIMUM_PIECES} pieces",
            "findings": "Findings failed in full strips, one a strip, component and damage mode",
        }[streams.kind]
        ordinary = float(kind.ran.ordinary.expected[:, LEARNING_MONTHS:].sum())
        lines.append(
            Assumption(
                f"{text}; the first {LEARNING_MONTHS} months only teach what is ordinary",
                watched, len(streams.event_time) - watched, "expected from the past",
                f"{ordinary:.0f} events against {watched} seen",
            )
        )  # fmt: skip
    return tuple(lines)


def _placebo_frame(tried: Placebo | None) -> pl.DataFrame:
    schema = {"alarms": pl.Int64, "years": pl.Float64, "a_year": pl.Float64, "low": pl.Float64, "high": pl.Float64,
              "promised": pl.Float64}  # fmt: skip
    rows = [] if tried is None else [(tried.alarms, tried.years, tried.a_year, tried.lower, tried.upper, ALARMS_A_YEAR)]
    return pl.DataFrame(rows, schema=schema, orient="row")


def _still_out(history: History, frame: pl.DataFrame) -> pl.DataFrame:
    parts = [
        lot_jobs_out(history, row).select(pl.lit(row["lot"]).alias("lot"), pl.all())
        for row in frame.head(MOST_DETAILED).filter(pl.col("kind") == "lots").iter_rows(named=True)
    ]
    return pl.concat(parts) if parts else pl.DataFrame(schema={"lot": pl.String, "job": pl.String})


def _jobs_behind(history: History, row: Mapping[str, str]) -> pl.DataFrame:
    acknowledged, first = read_acknowledged(row.get("acknowledged"), history.as_of), first_day(history)
    for kind in _watched(history, first, acknowledged)[0]:
        for alarm in kind.ran.alarms:
            label = kind.streams.labels.row(alarm.chart, named=True)
            if (
                chart_key(kind.streams.kind, label) != row.get("chart")
                or str(_raised(kind.streams, alarm)) != row["raised"]
            ):
                continue
            jobs = _job_names(history, kind.streams, alarm)
            words = ["found so" if kind.streams.kind == "findings" else "came back"] * len(jobs)
            if kind.streams.kind == "lots":
                out = lot_jobs_out(history, label)
                jobs += out["job"].to_list()
                words += [
                    f"still out with {count} of the lot, warranty to {end}"
                    for count, end in out.select("pieces", "warranty_end").iter_rows()
                ]
            return jobs_behind(
                history, "select unnest($jobs) as job, unnest($words) as because", {"jobs": jobs, "words": words}
            )
    return jobs_behind(history, "select job, '' as because from known_job where false", {})


SCHEMA = {
    "chart": pl.String, "what": pl.String, "kind": pl.String, "family": pl.String, "component": pl.String,
    "damage_mode": pl.String, "supplier": pl.String, "part": pl.String, "lot": pl.String, "since": pl.Date,
    "raised": pl.Date, "seen": pl.Int64, "expected": pl.Float64, "ratio": pl.Float64, "low": pl.Float64,
    "high": pl.Float64, "odds_ratio": pl.Float64, "odds_low": pl.Float64, "odds_high": pl.Float64,
    "shares": pl.String, "fitted": pl.Int64, "still_out": pl.Int64, "in_warranty": pl.Int64, "on_shelf": pl.Float64,
    "shelf_note": pl.String, "claim": pl.Float64, "credited": pl.Float64, "acknowledged_on": pl.Date,
    "note": pl.String,
}  # fmt: skip
COLUMNS = (
    Column("what", "What"),
    Column("since", "Since", "when the rise began: the most likely day of the change"),
    Column("raised", "Alarm on"),
    Column("ratio", "Times ordinary", "events since then over those to be expected", "factor"),
    Column("low", "from", "lower 95 % limit", "factor"),
    Column("high", "to", "upper 95 % limit", "factor"),
    Column("seen", "Seen", "events since the rise began"),
    Column("expected", "Expected", "events that ordinary work would have brought meanwhile"),
    Column("odds_ratio", "Odds ratio", "of a lot against the other lots of the part; of findings since against before",
           "factor"),
    Column("odds_low", "from", "lower 95 % limit", "factor"),
    Column("odds_high", "to", "upper 95 % limit", "factor"),
    Column("shares", "What the jobs share", "more than other jobs of their time and families"),
    Column("fitted", "Fitted", "pieces of the lot fitted in delivered jobs"),
    Column("still_out", "Jobs still out", "with a piece of the lot that has not come back nor been replaced"),
    Column("in_warranty", "In warranty", "of the jobs still out"),
    Column("on_shelf", "On the shelf", "pieces to set aside"),
    Column("shelf_note", "Shelf"),
    Column("claim", "To claim", "parts and cost of its comebacks, less what the supplier has credited", "money"),
    Column("credited", "Credited so far", "", "money"),
    Column("acknowledged_on", "Acknowledged"),
    Column("note", "Note"),
    Column("chart", "Chart", "the name under which it is acknowledged"),
)  # fmt: skip

WATCH = Question(
    name="watch",
    about="What has become worse than ordinary work explains, since when, which jobs are still out, what to set aside",
    for_whom="lead technician",
    ask=watch,
    options=(
        Option("shuffles", "shuffles to count false alarms", ("0", "5", "20", "100"), "5"),
        Option("acknowledged", "alarms acknowledged, as a JSON list", shown=False),
    ),
    jobs_behind=_jobs_behind,
)
