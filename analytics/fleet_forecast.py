"""Predict which registered units will come in with something worn within a year, from the lives of their parts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from analytics.estimators.life_fit import LifeFit, fit_life
from analytics.estimators.life_forecast import LifeMixture, life_mixture, mid_point_limits
from analytics.estimators.life_models import WEIBULL
from analytics.estimators.life_observations import LifeObservations, binned
from analytics.history import History
from analytics.life_clock import KM, LifeClock
from analytics.life_groups import observations_of
from analytics.register_lives import lives_of_unknown_age, register_lives
from analytics.register_stretches import Stretch, day_number, register_stretches
from analytics.scope import Scope

Numbers = npt.NDArray[np.float64]
DAYS = 365
DRAWS = 200
SEED = 20_161_005
LEVEL = 0.9
FEWEST_WORN = 20  # on the road, below which nothing is predicted
KIND_NEEDS = 8  # worn, for a component to have a life of its own here; the others share one
LENT = 4.0  # worn lives that a family and duty borrow from all others of the component
RETIREMENT_YEARS = 3
BIN = 0.04  # ages are rounded to it before lives are fitted: a year of a unit is many times as much
OTHERS = "other parts"


@dataclass(frozen=True)
class FleetForecast:
    """Hold what one fleet's units are expected to do within DAYS.

    fleet; units running; expected number that come in worn and its variance; lower, upper (whole numbers, 90 %);
    likeliest: unit, chance, run (km so far), what (the part likeliest to bring it in) and its share of the hazard,
    known (share of its parts whose age is known).
    """

    fleet: str
    units: int
    expected: float
    lower: int
    upper: int
    variance: float
    likeliest: pl.DataFrame


def fleet_forecasts(history: History, clock: LifeClock = KM) -> tuple[list[FleetForecast], int]:
    """Return the forecast of every fleet with units that run on the day asked, and the worn lives it rests on.

    Chance of a part: conditional on the distance it has run, within the unit's own pace for a year. Lives: per
    component, Weibull and lognormal mixed over what is known of them, ages scaled by family and duty (each borrowing
    LENT worn lives from the others). A part of unknown age is taken as old as its unit, times how much more or less
    often such parts of its kind wore out so far than that would have made them. Units that retire within the year are
    allowed for by the share that did in the last three.
    """
    # Of the stretches that run on into one another the last one is where the unit is now.
    stretches = register_stretches(history, clock)
    last = {s.unit_id: s for s in stretches if s.running and s.fleet and s.pace}
    running = [last[unit] for unit in sorted(last)]
    if not running:
        return [], 0
    lives, _ = register_lives(history.within(Scope()), stretches=stretches, clock=clock)
    worn = int(lives["upper"].count())
    if worn < FEWEST_WORN:
        return [], worn
    lives = _kinds(lives, lives)
    seats = _seats(history, lives, running, clock)
    unknown = _kinds(lives_of_unknown_age(history, stretches, clock), lives)
    chances = _chances(lives, seats, unknown)
    stay = 1 - _retiring(history, stretches) / 2
    return _by_fleet(seats, chances, running, stay), worn


def _kinds(rows: pl.DataFrame, lives: pl.DataFrame) -> pl.DataFrame:
    """Name the life each part is given: its component's, or one for all components in which few are worn."""
    worn = lives.group_by("component").agg(pl.col("upper").count().alias("worn"))
    own = worn.filter(pl.col("worn") >= KIND_NEEDS)["component"].to_list()
    return rows.with_columns(
        pl.when(pl.col("component").is_in(own)).then("component").otherwise(pl.lit(OTHERS)).alias("kind_of_life"),
        pl.concat_str(pl.col("family"), pl.col("duty").fill_null("not known"), separator="/").alias("cell"),
    )


def _seats(history: History, lives: pl.DataFrame, running: list[Stretch], clock: LifeClock) -> pl.DataFrame:
    """Return one row per running unit and position: its age where known, the distance of a year, its cell."""
    per = clock.per_unit
    units = pl.DataFrame(
        [
            (s.unit_id, s.unit, s.family, s.fleet, s.duty, (s.pace or 0.0) * DAYS / per, s.to_at / per)
            for s in running
        ],
        schema={"unit_id": pl.Int32, "unit": pl.String, "family": pl.String, "fleet": pl.String, "duty": pl.String,
                "further": pl.Float64, "run": pl.Float64}, orient="row",
    )  # fmt: skip
    positions = history.query(
        "select family, position, position_id, component from known_position order by position_id"
    )
    own = set(lives.filter(pl.col("kind_of_life") != OTHERS)["component"].unique().to_list())
    now = lives.filter(pl.col("draws").is_not_null()).select(
        "unit_id", "position_id", pl.col("lower").alias("age"), pl.col("cell").alias("own_cell"), "start_day"
    )
    now = now.sort("unit_id", "position_id", "start_day").unique(
        ["unit_id", "position_id"], keep="last", maintain_order=True
    )
    return (
        units.join(positions, on="family")
        .join(now, on=["unit_id", "position_id"], how="left", maintain_order="left")
        .with_columns(
            pl.when(pl.col("component").is_in(list(own)))
            .then("component")
            .otherwise(pl.lit(OTHERS))
            .alias("kind_of_life"),
            pl.coalesce(
                "own_cell", pl.concat_str(pl.col("family"), pl.col("duty").fill_null("not known"), separator="/")
            ).alias("cell"),
        )
        .sort("fleet", "unit_id", "position_id")
    )


def _chances(lives: pl.DataFrame, seats: pl.DataFrame, unknown: pl.DataFrame) -> Numbers:
    """Return each seat's chance of bringing its unit in within a year, shape (DRAWS, seats)."""
    chances = np.zeros((DRAWS, seats.height))
    place = np.arange(seats.height)
    for number, kind in enumerate(sorted(lives["kind_of_life"].unique().to_list())):
        mine = lives.filter(pl.col("kind_of_life") == kind)
        where = place[(seats["kind_of_life"] == kind).to_numpy()]
        if not len(where):
            continue
        rng = np.random.default_rng([SEED, number])
        told = _life_of_kind(mine)
        if told is None:
            continue
        own = seats[where.tolist()]
        p = _year_ahead(own, told, rng)
        loose = own["age"].is_null().to_numpy()
        if loose.any():
            past = unknown.filter(pl.col("kind_of_life") == kind)
            p[:, loose] = _often(p[:, loose], past, told, rng)
        chances[:, where] = p
    return chances


_Told = tuple[list[LifeMixture], dict[str, float], dict[str, float], float]


def _year_ahead(seats: pl.DataFrame, told: _Told, rng: np.random.Generator) -> Numbers:
    """Return the chances of seats of one kind, parts of unknown age taken as old as their unit."""
    start = seats.select(pl.coalesce("age", "run")).to_series().to_numpy()
    return _between(seats["cell"].to_list(), start, start + seats["further"].to_numpy(), told, rng)


def _between(cells: list[str], start: Numbers, end: Numbers, told: _Told, rng: np.random.Generator) -> Numbers:
    """Return the chances of wearing out between two distances (km), shape (DRAWS, parts)."""
    mixtures, factor, error, middle = told
    names = sorted(set(cells))
    index = np.array([names.index(c) for c in cells])
    log_factor = np.array([factor.get(c, 0.0) for c in names])
    wide = np.array([error.get(c, middle) for c in names])
    scale = np.exp(-(log_factor + wide * rng.standard_normal((DRAWS, len(names)))))[:, index]
    return _chance(mixtures, start * scale, end * scale, rng)


def _often(p: Numbers, past: pl.DataFrame, told: _Told, rng: np.random.Generator) -> Numbers:
    """Return chances of parts of unknown age, their hazard times how often such parts wore out against expectation."""
    expected = 0.0
    if past.height:
        seen = _between(past["cell"].to_list(), past["from_km"].to_numpy(), past["to_km"].to_numpy(), told, rng)
        expected = float(-np.log1p(-np.minimum(seen, 1 - 1e-9)).mean(axis=0).sum())
    worn = float(past["worn"].sum())
    times = rng.gamma(worn + 1.0, 1 / (expected + 1.0), DRAWS)
    return np.asarray(-np.expm1(times[:, None] * np.log1p(-np.minimum(p, 1 - 1e-9))))


def _life_of_kind(
    lives: pl.DataFrame,
) -> _Told | None:
    """Return the life at standard age, and each family and duty's log factor on life with its error."""
    rows = observations_of(lives)
    fit = fit_life(binned(rows, BIN), WEIBULL)
    if not isinstance(fit, LifeFit):
        return None
    shape = min(max(fit.shape, 0.7), 6.0)
    end = np.where(np.isfinite(rows.upper), rows.upper, rows.lower) / fit.scale
    exposure = end**shape - (np.minimum(rows.entry / fit.scale, end)) ** shape
    table = (
        lives.select("cell")
        .with_columns(pl.Series("exposure", exposure), pl.Series("worn", np.isfinite(rows.upper).astype(float)))
        .group_by("cell").agg(pl.col("exposure").sort().sum(), pl.col("worn").sum()).sort("cell")
    )  # fmt: skip
    mean = float(table["worn"].sum()) / float(table["exposure"].sum())
    factor, error = {}, {}
    for cell, run, worn in table.iter_rows():
        rate = (worn + LENT) / (run + LENT / mean)
        factor[cell] = float(-np.log(rate / mean) / shape)
        error[cell] = float(1 / (shape * np.sqrt(worn + LENT)))
    scale = np.exp([-factor[c] for c in lives["cell"].to_list()])
    standard = LifeObservations(
        rows.lower * scale, rows.upper * scale, None, np.minimum(rows.entry, rows.upper) * scale
    )
    mixtures = life_mixture(binned(standard, BIN))
    return (mixtures, factor, error, float(1 / (shape * np.sqrt(LENT)))) if mixtures else None


def _chance(mixtures: list[LifeMixture], start: Numbers, end: Numbers, rng: np.random.Generator) -> Numbers:
    """Return chances of failing between two standard ages, each draw under one drawn point of the mixtures."""
    sizes = [len(m.weight) for m in mixtures]
    weight = np.concatenate([m.weight for m in mixtures])
    drawn = np.searchsorted(np.cumsum(weight) / weight.sum(), rng.random(len(start)))
    drawn = np.minimum(drawn, len(weight) - 1)
    p = np.zeros(start.shape)
    first = 0
    for mixture, size in zip(mixtures, sizes, strict=True):
        mine = np.flatnonzero((drawn >= first) & (drawn < first + size))
        point = drawn[mine] - first
        offset, steepness = mixture.offset[point][:, None], mixture.steepness[point][:, None]
        sound = []
        for age in (start[mine], end[mine]):
            with np.errstate(divide="ignore"):
                place = np.maximum(np.log(age), -700.0) - mixture.centre
            sound.append(mixture.model.sound_value(steepness * place - offset))
        p[mine] = -np.expm1(np.minimum(sound[1] - sound[0], 0.0))
        first += size
    return p


def _by_fleet(seats: pl.DataFrame, chances: Numbers, running: list[Stretch], stay: float) -> list[FleetForecast]:
    forecasts = []
    fleets = seats["fleet"].to_numpy()
    for number, fleet in enumerate(sorted(set(fleets.tolist()))):
        own = np.flatnonzero(fleets == fleet)
        rows = seats[own.tolist()]
        unit = rows["unit_id"].to_numpy()
        labels, index = np.unique(unit, return_inverse=True)
        first = np.searchsorted(index, np.arange(len(labels)))  # rows are sorted by unit
        hazard = -np.log1p(-np.minimum(chances[:, own], 1 - 1e-12))
        chance = -np.expm1(-np.add.reduceat(hazard, first, axis=1)) * stay
        rng = np.random.default_rng([SEED, 1000 + number])
        counts = (rng.random(chance.shape) < chance).sum(axis=1)
        cumulative = np.cumsum(np.bincount(counts, minlength=len(labels) + 1)) / len(counts)
        lower, upper = mid_point_limits(cumulative, LEVEL)
        # The counts' own variance would carry the noise of the draws: it is taken apart instead.
        variance = float((chance * (1 - chance)).sum(axis=1).mean() + chance.sum(axis=1).var(ddof=1))
        middle = hazard.mean(axis=0)
        forecasts.append(
            FleetForecast(
                fleet, len(labels), float(chance.mean(axis=0).sum()), lower, upper, variance,
                _likeliest(rows, labels, first, chance.mean(axis=0), middle),
            )
        )  # fmt: skip
    return forecasts


def _likeliest(
    rows: pl.DataFrame, labels: Numbers, first: npt.NDArray[np.intp], chance: Numbers, hazard: Numbers
) -> pl.DataFrame:
    bounds = np.append(first, rows.height).astype(int)
    names, ages = rows["position"].to_list(), rows["age"].is_not_null().to_numpy()
    found = []
    for i in range(len(labels)):
        part = slice(bounds[i], bounds[i + 1])
        worst = int(np.argmax(hazard[part])) + bounds[i]
        found.append(
            (rows["unit"][int(bounds[i])], float(chance[i]), float(rows["run"][int(bounds[i])]), names[worst],
             float(hazard[worst] / max(float(hazard[part].sum()), 1e-12)), float(ages[part].mean()))
        )  # fmt: skip
    schema = {"unit": pl.String, "chance": pl.Float64, "run": pl.Float64, "what": pl.String, "what_share": pl.Float64,
              "known": pl.Float64}  # fmt: skip
    return pl.DataFrame(found, schema=schema, orient="row").sort(["chance", "unit"], descending=[True, False])


def _retiring(history: History, stretches: list[Stretch]) -> float:
    """Return the share of registered units that retire in a year, from the last three years."""
    as_of = day_number(history.as_of)
    since = as_of - RETIREMENT_YEARS * DAYS
    retired = history.query(
        "select count(distinct s.unit) as n from known_sighting as s join known_unit as u using (unit) "
        "where s.state = 'retired' and u.register_entry is not null and s.seen > $since",
        {"since": pl.Series([since]).cast(pl.Date)[0]},
    )["n"][0]
    years = sum(max(0, min(s.to_day, as_of) - max(s.from_day, since)) for s in stretches) / DAYS
    return min(float(retired) / years, 0.5) if years > 0 else 0.0
