"""Read the scenario: the invented workshop's size and habits, and every truth that is planted in it."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass
from datetime import date
from pathlib import Path
from types import UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

DEFAULT_SCENARIO = Path(__file__).with_name("scenario.toml")


class ScenarioError(ValueError):
    """Say in one plain sentence what in a scenario file cannot be used."""


@dataclass(frozen=True)
class Workshop:
    """Hold what the workshop charges, promises and does as a rule."""

    labour_rate: float
    labour_cost: float
    part_markup: float
    warranty_months: tuple[int, ...]
    warranty_months_share: tuple[float, ...]
    warranty_km_per_month: float
    stock_cores_per_family: int
    parts_on_shelf: float
    quote_declined_share: float
    quote_no_answer_share: float
    full_rebuild_share: float
    setup_only_share: float
    routine_inspection_per_year: float


@dataclass(frozen=True)
class Technician:
    """Hold one technician: the share of the jobs, the depth gauge preferred, the first day."""

    code: str
    share: float
    depth_gauge: str
    from_: date


@dataclass(frozen=True)
class Fleet:
    """Hold one fleet: its vehicles, its register and how it is followed."""

    name: str
    code: str
    vehicles: int
    register_from: date
    joins_share: float
    sightings: str
    sightings_unit: str
    families: Mapping[str, float]
    duty: Mapping[str, float]
    km_per_month: float
    km_spread: float
    exchange: bool
    preventive_km: float
    refitted_by_us: float
    hours_per_1000_km: float = 0.0


@dataclass(frozen=True)
class PrivateOwners:
    """Hold the private owners: how many there are, who comes here and who is followed."""

    vehicles: int
    families: Mapping[str, float]
    duty: Mapping[str, float]
    km_per_month: float
    km_spread: float
    comes_to_us: float
    followed: float
    returns_in_warranty: float
    returns_after_warranty: float
    exchange: float
    refitted_by_us: float
    serial_only: float


@dataclass(frozen=True)
class Usage:
    """Hold how vehicles are used, retired and taken elsewhere."""

    retires_after_years: float
    retires_spread_years: float
    season_days: float
    elsewhere_by_fleets: float
    elsewhere_recorded_by_fleets: float
    elsewhere_recorded_by_owners: float
    visit_delay_days: float
    visit_delay_spread: float


@dataclass(frozen=True)
class Life:
    """Hold a Weibull life on distance: scale in km and shape."""

    scale_km: float
    shape: float


@dataclass(frozen=True)
class Lives:
    """Hold the true lives by component, with multipliers by duty and family."""

    silent_share: float
    silent_lag: float
    component: Mapping[str, Life]
    duty: Mapping[str, float]
    family: Mapping[str, float]


@dataclass(frozen=True)
class Hazard:
    """Hold a hazard after delivery: chance within 24 months and Weibull shape."""

    share: float
    shape: float


@dataclass(frozen=True)
class Comebacks:
    """Hold the hazards of trouble after a job, by outcome and for parts that fail early."""

    given_share: float
    opened_share: float
    outcome: Mapping[str, Hazard]
    part: Mapping[str, float]


@dataclass(frozen=True)
class Gauges:
    """Hold the repeatability of the gauges, as standard deviations, and how they are used."""

    single_reading_um: float
    master_reading_um: float
    backlash_reading_um: float
    torque_reading_mnm: float
    technician_um: float
    cross_reading_share: float
    own_gauge_share: float


@dataclass(frozen=True)
class Setting:
    """Hold how casings, pinions and markings scatter, as standard deviations in micrometres."""

    case_um: float
    pinion_um: float
    marking_um: float
    factory_um: float
    wear_um: float
    new_bearing_um: float
    depth_by_new_bearing_um: float
    float_by_new_bearing_um: float
    tighter_by_new_bearing_um: float
    backlash_by_new_bearing_um: float
    backlash_by_new_set_um: float
    depth_error_hazard_um: float
    uses_marking: float
    pack_from_drawer: float
    half_way: float


@dataclass(frozen=True)
class BadLot:
    """Plant one bad lot of a part: the supplier's first lot after a day."""

    part: str
    supplier: str
    from_: date
    pieces: int
    odds_ratio: float


@dataclass(frozen=True)
class GaugeDrift:
    """Plant a gauge that drifts from a day on."""

    instrument: str
    from_: date
    um_per_month: float
    at_most_um: float


@dataclass(frozen=True)
class BearingMake:
    """Plant a bearing make that stands higher at one location."""

    family: str
    location: str
    maker: str
    standing_height_um: float


@dataclass(frozen=True)
class PartTrend:
    """Plant a part whose share of full rebuilds changes by a factor each year."""

    part: str
    share_at_start: float
    per_year: float


@dataclass(frozen=True)
class BelowCost:
    """Plant a kind of job that is priced below what it costs."""

    job_kind: str
    price_to_cost: float


@dataclass(frozen=True)
class PriceRise:
    """Plant one supplier's price rise."""

    supplier: str
    on: date
    factor: float


@dataclass(frozen=True)
class SliderReused:
    """Plant the practice of reusing sliders with new rings and what it does to comebacks that are ours."""

    share_of_jobs: float
    hazard_ratio: float


@dataclass(frozen=True)
class MakerLife:
    """Plant a maker whose parts of one kind last shorter."""

    component: str
    maker: str
    life_factor: float


@dataclass(frozen=True)
class Planted:
    """Hold the single truths that are planted to be found."""

    bad_lot: BadLot
    gauge_drift: GaugeDrift
    bearing_make: BearingMake
    part_up: PartTrend
    part_down: PartTrend
    below_cost: BelowCost
    price_rise: PriceRise
    slider_reused: SliderReused
    maker_life: MakerLife


@dataclass(frozen=True)
class Scenario:
    """Hold the whole scenario."""

    name: str
    start: date
    end: date
    seed: int
    scale: float
    workshop: Workshop
    technicians: tuple[Technician, ...]
    fleets: tuple[Fleet, ...]
    private: PrivateOwners
    usage: Usage
    lives: Lives
    comebacks: Comebacks
    gauges: Gauges
    setting: Setting
    planted: Planted


def merged(base: Mapping[str, Any], change: Mapping[str, Any]) -> dict[str, Any]:
    """Return `base` with the entries of `change` laid over it, table by table; lists are replaced whole."""
    result = dict(base)
    for key, value in change.items():
        below = result.get(key)
        result[key] = merged(below, value) if isinstance(below, Mapping) and isinstance(value, Mapping) else value
    return result


def _built(kind: Any, value: Any, place: str) -> Any:
    """Return `value` as `kind`, a dataclass, a tuple or mapping of such, or a plain value."""
    origin = get_origin(kind)
    if origin in (Union, UnionType):
        kind = next(option for option in get_args(kind) if option is not type(None))
        origin = get_origin(kind)
    if origin is tuple:
        return tuple(_built(get_args(kind)[0], v, f"{place}[{i}]") for i, v in enumerate(value))
    if origin is Mapping:
        return {k: _built(get_args(kind)[1], v, f"{place}.{k}") for k, v in value.items()}
    if is_dataclass(kind):
        return _dataclass_built(kind, value, place)
    if kind is float and isinstance(value, int) and not isinstance(value, bool):
        return float(value)
    if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
        raise ScenarioError(f"scenario: {place} should be a {kind.__name__}, found {value!r}")
    return value


def _dataclass_built(kind: Any, value: Any, place: str) -> Any:
    if not isinstance(value, Mapping):
        raise ScenarioError(f"scenario: {place or 'the file'} should be a table, found {value!r}")
    hints = get_type_hints(kind)
    known = {field.name.rstrip("_"): field for field in fields(kind)}
    unknown = sorted(set(value) - set(known))
    if unknown:
        raise ScenarioError(f"scenario: {place or 'the file'} has no entry '{unknown[0]}'; it has {', '.join(known)}")
    given = {
        field.name: _built(hints[field.name], value[name], f"{place}.{name}".lstrip("."))
        for name, field in known.items()
        if name in value
    }
    try:
        return kind(**given)
    except TypeError as error:
        raise ScenarioError(f"scenario: {place or 'the file'} lacks an entry ({error})") from error


def scenario_tables(source: Path | Mapping[str, Any] | None = None) -> dict[str, Any]:
    """Return the scenario as plain tables: the default one with `source` (a TOML file or tables) laid over it."""
    base = tomllib.loads(DEFAULT_SCENARIO.read_text(encoding="utf-8"))
    if source is None:
        return base
    if isinstance(source, Mapping):
        return merged(base, source)
    try:
        return merged(base, tomllib.loads(source.read_text(encoding="utf-8")))
    except FileNotFoundError as error:
        raise ScenarioError(f"there is no scenario file {source}") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise ScenarioError(f"{source} is not a TOML file: {error}") from error


def read_scenario(source: Path | Mapping[str, Any] | None = None) -> Scenario:
    """Return the scenario of a file or of tables; raises ScenarioError where an entry is unknown or missing."""
    scenario: Scenario = _dataclass_built(Scenario, scenario_tables(source), "")
    if scenario.start >= scenario.end:
        raise ScenarioError(f"scenario: the end {scenario.end} should lie after the start {scenario.start}")
    if scenario.scale <= 0:
        raise ScenarioError(f"scenario: scale should be above 0, found {scenario.scale}")
    return scenario
