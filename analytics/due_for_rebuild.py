"""Answer: how many of a fleet's units will come in worn within a year, and which?"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import polars as pl

from analytics.answer import Answer, Assumption, Column
from analytics.fleet_forecast import DAYS, FEWEST_WORN, LEVEL, FleetForecast, fleet_forecasts
from analytics.history import History
from analytics.job_list import jobs_behind
from analytics.life_clock import CLOCK_OPTION, LifeClock, clock_of, told_by
from analytics.question import Question, QuestionError
from analytics.wording import count_of

LOOK_BACKS = 5  # years looked back at, one after the other
USUAL_SCATTER, USUAL_WEIGHT = 1.5, 8  # of counts against what parts alone would make them, and its weight in look-backs
SHOWN_UNITS = 10  # of each fleet
METHOD = (
    "For every part of every running unit on a register: the chance that it wears out within the distance the unit "
    "runs in a year, given how far it has run; together the chance that the unit comes in with something worn. Lives "
    "on the road by component, family and duty, Weibull and lognormal mixed; 90 % limits hold for the count itself. "
    "The same was done as of each of the last years and held against what came."
)

_CAME = """
select v.unit_id, u.unit, min(v.opened) as opened
from known_finding as n
join known_visit as v using (job_id)
join known_unit as u on u.unit_id = v.unit_id
where coalesce(n.grade >= '3', n.failed) and v.opened > $since
group by all order by all
"""


def due_for_rebuild(history: History, options: Mapping[str, str]) -> Answer:
    """Return how many of each fleet's running units are expected in with something worn within 12 months, and which.

    Rows: fleet, unit (NULL: the whole fleet), units, expected, low, high (90 % for the count), chance, run (km), what
    (would bring it in), last_year (came in the last 12 months: the plain rule). Curves: "backtest" (fleet, as_of,
    expected, low, high, came, last_year) and "units" (every running unit). Only for fleets on a register. With
    the option clock = hours: units that carry an hour meter, and "run" in hours.
    """
    _refuse_other_filters(history)
    clock = clock_of(options.get("clock", "km"))
    whole = history.within(replace(history.scope, fleet=None, family=None))
    kept = history.warehouse.kept  # a page limited to one fleet rests on the same forecasts of every fleet
    forecasts, worn = kept.get(("fleet forecasts", history.as_of, clock.name), lambda: fleet_forecasts(whole, clock))
    chosen = [f for f in forecasts if history.scope.fleet in (None, f.fleet)]
    past = pl.DataFrame(schema=_BACKTEST)
    if chosen:
        past = kept.get(("fleet forecasts looked back at", history.as_of, clock.name), lambda: _backtest(whole, clock))
    scatter = _scatter(past)
    past = past.filter(pl.col("fleet") == history.scope.fleet) if history.scope.fleet else past
    rows = _rows(whole, chosen, scatter)
    sentence, number, about = _sentence(rows, past, forecasts, worn)
    answer = Answer(
        question="due-for-rebuild",
        as_of=history.as_of,
        warehouse_version=history.warehouse.version,
        filters=history.scope.filters(),
        sentence=sentence,
        number=number,
        number_about=about,
        method=METHOD,
        grain=f"one row per fleet, then its {SHOWN_UNITS} likeliest units",
        rows=rows,
        columns=_COLUMNS,
        notes=_notes(past),
        assumptions=_ledger(chosen, worn, scatter),
        curves={"backtest": past, "units": _every_unit(chosen)},
    )
    return told_by(clock, answer)


def _refuse_other_filters(history: History) -> None:
    other = set(history.scope.filters()) - {"fleet"}
    if other:
        raise QuestionError(f"this question cannot be limited by '{sorted(other)[0]}'; it can by fleet")


def _came(history: History, since: dt.date) -> dict[str, dt.date]:
    """Return the units that came in with something worn after a day, with the first such day."""
    found = history.query(_CAME, {"since": since})
    return {unit: opened for _, unit, opened in found.iter_rows()}


def _rows(history: History, forecasts: list[FleetForecast], scatter: float) -> pl.DataFrame:
    came = _came(history, history.as_of - dt.timedelta(days=DAYS))
    fleets = _fleet_of(history)
    rows: list[dict[str, Any]] = []
    for f in sorted(forecasts, key=lambda f: (-f.expected, f.fleet)):
        low, high = _limits(f, scatter)
        rows.append(
            {"fleet": f.fleet, "units": f.units, "expected": f.expected, "low": low, "high": high,
             "last_year": sum(1 for unit in came if fleets.get(unit) == f.fleet)}
        )  # fmt: skip
        rows += [
            {"fleet": f.fleet, "unit": unit, "chance": chance, "run": run, "what": what, "what_share": share}
            for unit, chance, run, what, share, _ in f.likeliest.head(SHOWN_UNITS).iter_rows()
        ]
    return pl.DataFrame(rows, schema=_SCHEMA)


def _every_unit(forecasts: list[FleetForecast]) -> pl.DataFrame:
    parts = [f.likeliest.select(pl.lit(f.fleet).alias("fleet"), pl.all()) for f in forecasts]
    schema = {"fleet": pl.String, "unit": pl.String, "chance": pl.Float64, "run": pl.Float64, "what": pl.String,
              "what_share": pl.Float64, "known": pl.Float64}  # fmt: skip
    return pl.concat(parts) if parts else pl.DataFrame(schema=schema)


def _fleet_of(history: History) -> dict[str, str]:
    """Return the fleet each unit was last known to run in."""
    found = history.query(
        "select unit, arg_max(fleet, fitted_from) as fleet from known_fitting group by unit order by unit"
    )
    return {unit: fleet for unit, fleet in found.iter_rows() if fleet is not None}


def _limits(forecast: FleetForecast, scatter: float) -> tuple[int, int]:
    """Return the limits of the count, drawn apart by the root of how much more counts scatter than parts alone."""
    wide = float(np.sqrt(scatter))
    low = round(forecast.expected - wide * (forecast.expected - forecast.lower))
    high = round(forecast.expected + wide * (forecast.upper - forecast.expected))
    return max(low, 0), min(high, forecast.units)


def _scatter(past: pl.DataFrame) -> float:
    """Return the mean square of (came - expected) over its own deviation, USUAL_WEIGHT look-backs of USUAL_SCATTER in it.

    Seasons, contracts and who else has a bench free move a fleet's counts beside the wear of parts; at least 1.
    """
    squares = float(past.select(((pl.col("came") - pl.col("expected")) ** 2 / pl.col("variance")).sum()).item() or 0)
    return max(1.0, (squares + USUAL_WEIGHT * USUAL_SCATTER) / (past.height + USUAL_WEIGHT))


def _backtest(history: History, clock: LifeClock) -> pl.DataFrame:
    """Return what would have been said on the same day of earlier years, and what came within the year after it.

    Each forecast sees only what was known on its day, the scatter of earlier look-backs included. The plain rule says
    that as many will come as came the year before.
    """
    past = pl.DataFrame(schema=_BACKTEST)
    for back in range(LOOK_BACKS, 0, -1):
        then = history.on(history.as_of - dt.timedelta(days=back * DAYS))
        forecasts, _ = fleet_forecasts(then, clock)
        after = {
            unit for unit, day in _came(history, then.as_of).items() if day <= then.as_of + dt.timedelta(days=DAYS)
        }
        before, fleets = _came(then, then.as_of - dt.timedelta(days=DAYS)), _fleet_of(then)
        scatter = _scatter(past)
        rows = []
        for f in forecasts:
            came = sum(1 for unit in f.likeliest["unit"].to_list() if unit in after)
            last = sum(1 for unit in before if fleets.get(unit) == f.fleet)
            rows.append((f.fleet, then.as_of, f.units, f.expected, f.variance, *_limits(f, scatter), came, last))
        past = pl.concat([past, pl.DataFrame(rows, schema=_BACKTEST, orient="row")])
    return past.sort("as_of", "fleet")


_BACKTEST: dict[str, type[pl.DataType]] = {
    "fleet": pl.String, "as_of": pl.Date, "units": pl.Int64, "expected": pl.Float64, "variance": pl.Float64,
    "low": pl.Int64, "high": pl.Int64, "came": pl.Int64, "last_year": pl.Int64,
}  # fmt: skip
_SCHEMA: dict[str, type[pl.DataType]] = {
    "fleet": pl.String, "unit": pl.String, "units": pl.Int64, "expected": pl.Float64, "low": pl.Int64,
    "high": pl.Int64, "last_year": pl.Int64, "chance": pl.Float64, "run": pl.Float64, "what": pl.String,
    "what_share": pl.Float64,
}  # fmt: skip


def _sentence(
    rows: pl.DataFrame, past: pl.DataFrame, forecasts: list[FleetForecast], worn: int
) -> tuple[str, str, str]:
    whole = rows.filter(pl.col("unit").is_null())
    if whole.is_empty():
        if forecasts:
            return "This fleet has no unit on a register that runs on this day, so none can be said to be due.", "", ""
        why = (
            f"too few are worn on the road ({worn} of {FEWEST_WORN})"
            if worn
            else "no fleet's register says which units run, and among units that came in nothing is due"
        )
        return f"No list of units due: {why}.", "", ""
    top = whole.row(0, named=True)
    first = rows.filter((pl.col("fleet") == top["fleet"]) & pl.col("unit").is_not_null()).row(0, named=True)
    sentence = (
        f"Of {count_of(top['units'], 'running unit')} of {top['fleet']}, {top['expected']:.0f} will come in with "
        f"something worn within 12 months ({top['low']} to {top['high']}); last year {top['last_year']} did. "
        f"Likeliest: {first['unit']} ({first['chance']:.0%}), for its {first['what']}."
    )
    if past.height:
        inside = int(past.select((pl.col("came") >= pl.col("low")) & (pl.col("came") <= pl.col("high"))).sum().item())
        sentence += f" Looking back, {inside} of {past.height} such counts lay within their limits."
    return sentence, f"{top['expected']:.0f}", f"units of {top['fleet']} expected in within 12 months"


def _notes(past: pl.DataFrame) -> tuple[str, ...]:
    if past.is_empty():
        return ("Too short a record to look back at what would have been said a year ago.",)
    error = past.select((pl.col("expected") - pl.col("came")).abs().mean()).item()
    plain = past.select((pl.col("last_year") - pl.col("came")).abs().mean()).item()
    bias = past.select((pl.col("expected") - pl.col("came")).mean()).item()
    inside = past.select(((pl.col("came") >= pl.col("low")) & (pl.col("came") <= pl.col("high"))).mean()).item()
    worst = past.sort((pl.col("expected") - pl.col("came")).abs(), "fleet", descending=[True, False]).row(0, named=True)
    return (
        f"Looking back over {past['as_of'].n_unique()} years and {past['fleet'].n_unique()} fleets: {inside:.0%} of "
        f"the counts lay within their {LEVEL:.0%} limits; off by {error:.1f} units (mean {bias:+.1f}), where "
        f"'as many as last year' was off by {plain:.1f}. Worst: {worst['fleet']} in the year after "
        f"{worst['as_of']}, {worst['expected']:.0f} expected and {worst['came']} came.",
        "Counted are units that run on the day asked; those that join the fleet later are not, nor a second visit.",
    )


def _ledger(forecasts: list[FleetForecast], worn: int, scatter: float) -> tuple[Assumption, ...]:
    if not forecasts:
        return ()
    known = [float(np.mean(f.likeliest["known"].to_numpy())) for f in forecasts]
    units = [f.units for f in forecasts]
    share = float(np.average(known, weights=units))
    return (
        Assumption("Running units on a register", sum(units), None),
        Assumption("Worn lives on the road that it rests on", worn, None),
        Assumption(
            f"A part of unknown age ({1 - share:.0%} of the parts) is taken as old as its unit, times how such parts wore so far"
        ),
        Assumption(
            f"Limits allow for counts that scatter {scatter:.2f} times as much as the wear of parts alone, from the years "
            "looked back at"
        ),
        Assumption("A unit goes on at the pace of its last year, and comes here as often as such units did so far"),
    )


_COLUMNS = (
    Column("fleet", "Fleet"),
    Column("unit", "Unit", "empty: the whole fleet"),
    Column("units", "Running units"),
    Column("expected", "Expected in", "units with something worn within 12 months"),
    Column("low", "from", "lower 90 % limit of the count"),
    Column("high", "to", "upper 90 % limit of the count"),
    Column("last_year", "Last year", "units that came in worn in the last 12 months: the plain rule"),
    Column("chance", "Chance", "that this unit comes in with something worn within 12 months", "share"),
    Column("run", "Has run", "the unit's own distance", "km"),
    Column("what", "Likeliest for", "the part that is likeliest to bring it in"),
    Column("what_share", "Of the risk", "that part's share of it", "share"),
)


def _jobs_behind(history: History, row: Mapping[str, str]) -> pl.DataFrame:
    """Return the visits with something worn of the last two years, of the unit or of the fleet."""
    tests, values = ["true"], {"since": history.as_of - dt.timedelta(days=2 * DAYS)}
    params: dict[str, Any] = dict(values)
    if row.get("unit"):
        tests, params = ["v.unit = $of_unit"], {"since": dt.date(1900, 1, 1), "of_unit": row["unit"]}
    elif row.get("fleet"):
        tests.append("v.fleet = $of_fleet")
        params["of_fleet"] = row["fleet"]
    return jobs_behind(
        history,
        f"""
        select v.job, n.position || ' worn' as because
        from known_finding as n join known_visit as v using (job_id)
        where coalesce(n.grade >= '3', n.failed) and v.opened > $since and {" and ".join(tests)}
        """,
        params,
    )


DUE_FOR_REBUILD = Question(
    name="due-for-rebuild",
    about="How many units of each fleet will come in worn within 12 months, which ones, and what for",
    for_whom="parts manager",
    ask=due_for_rebuild,
    options=(CLOCK_OPTION,),
    jobs_behind=_jobs_behind,
)
