"""Play the invented workshop once and hand out its clean, typed records together with the truth."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from demo_warehouse.catalogue_rows import write_catalogue
from demo_warehouse.days import date_of
from demo_warehouse.end_of_records import cut_at_end
from demo_warehouse.population import make_population
from demo_warehouse.rows import frames_of
from demo_warehouse.scenario import Scenario, read_scenario
from demo_warehouse.stock_counts import write_stock_counts
from demo_warehouse.world import World
from demo_warehouse.years import Years

ScenarioSource = Path | Mapping[str, Any] | None


@dataclass(frozen=True)
class Workshop:
    """Hold one played workshop: its records by record type, the true lives, and the world it came from."""

    scenario: Scenario
    seed: int
    records: dict[str, pl.DataFrame]
    lives: pl.DataFrame
    world: World


def play_workshop(scenario: ScenarioSource = None, seed: int | None = None) -> Workshop:
    """Play a scenario (a file, tables laid over the default one, or None) with a seed.

    Records are in warehouse columns and whole stored steps, in the declared order. `lives` has one row per true
    component life: unit, family, position, component, duty, origin ("new", "here", "elsewhere", "unknown past"),
    start_m, life_m, maker_factor. Raises ScenarioError for a scenario that cannot be used.
    """
    read = read_scenario(scenario)
    used = read.seed if seed is None else seed
    world = World(read, used)
    write_catalogue(world)
    make_population(world)
    years = Years(world)
    years.play()
    world.gauges.write_checks(world.rows, world.start, world.end, world.rng(3))
    write_stock_counts(world)
    quotes = sorted(world.rows.by_record["quote"], key=lambda q: (q["quoted_on"], q["job"] or "", q["price"]))
    for quote in quotes:
        quote["quote"] = world.next_number("Q", date_of(quote["quoted_on"]).year)
    world.rows.by_record["quote"] = quotes
    return Workshop(read, used, cut_at_end(frames_of(world.rows), read.end), world.log.frame(), world)


def simulate(scenario: ScenarioSource = None, seed: int | None = None) -> dict[str, pl.DataFrame]:
    """Return the clean records of a scenario and seed by record type, in warehouse columns and stored steps."""
    return play_workshop(scenario, seed).records
