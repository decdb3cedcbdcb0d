"""How often the limits hold: simulate inspections from a known life and count, cell by cell."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from analytics.estimators.life_estimate import LifeEstimate, life_estimates
from analytics.estimators.life_forecast import CountDue, count_due
from analytics.estimators.life_models import WEIBULL, LifeModel
from analytics.estimators.life_observations import LifeObservations

FLEET = 40
MONTHS_DISTANCE = 0.25
"""Twelve months' distance, in median lives."""


@dataclass(frozen=True)
class CoverageCell:
    """Hold one cell: share of runs whose 90 % limits hold (each of the runs that gave limits), and its setting.

    b10, median: age limits. count: integer limits of the number failing in the next twelve months. count_randomised:
    the same judged by the randomised cumulative chance, which is exactly uniform when the prediction is right. few:
    share of runs that were too few to say. below, above: share of runs with B10 under and over its limits.
    """

    model: str
    shape: float
    inspections: int
    runs: int
    b10: float
    median: float
    count: float
    count_randomised: float
    few: float
    below: float
    above: float


def coverage_table(
    cells: Iterable[tuple[LifeModel, float, int]],
    runs: int,
    seed: int = 7,
    inspected: tuple[float, float] = (1.0, 0.5),
    with_count: bool = True,
) -> list[CoverageCell]:
    """Return one cell for each (model, shape, inspections): lives of median 1, current status, model choice left on.

    inspected: median and log-scale spread of the (lognormal) inspection ages. The fleet of the count is FLEET running
    units at ages drawn from the same inspection ages, given that they run. Seeded by cell, so cells do not depend on
    one another.
    """
    return [_cell(model, shape, n, runs, seed, inspected, with_count) for model, shape, n in cells]


def quantile_of(model: LifeModel, shape: float, share: float | np.ndarray) -> np.ndarray:
    """Return the age by which the share has failed, of the life of median 1."""
    if model is WEIBULL:
        return (-np.log1p(-np.asarray(share)) / np.log(2)) ** (1 / shape)
    return np.exp(shape * ndtri(share))


def inspections(
    rng: np.random.Generator, model: LifeModel, shape: float, size: int, inspected: tuple[float, float]
) -> tuple[np.ndarray, np.ndarray]:
    """Return lives and inspection ages, each of shape (size,)."""
    life = quantile_of(model, shape, rng.random(size))
    return life, inspected[0] * np.exp(inspected[1] * rng.standard_normal(size))


def _cell(
    model: LifeModel,
    shape: float,
    size: int,
    runs: int,
    seed: int,
    inspected: tuple[float, float],
    with_count: bool,
) -> CoverageCell:
    rng = np.random.default_rng([seed, size, int(1000 * shape), model is WEIBULL])
    drawn = [inspections(rng, model, shape, size, inspected) for _ in range(runs)]
    sets = [LifeObservations(np.where(t <= x, 0, x), np.where(t <= x, x, np.inf)) for t, x in drawn]
    answers = life_estimates(sets)
    said = [a for a in answers if isinstance(a, LifeEstimate)]
    true = [float(quantile_of(model, shape, share)) for share in (0.1, 0.5)]
    low = np.array([[q.lower for q in a.quantiles] for a in said])
    high = np.array([[q.upper for q in a.quantiles] for a in said])
    holds = ((low <= true) & (true <= high)).mean(axis=0)
    counts = [_count_run(rng, o, model, shape, inspected) for o in sets] if with_count else []
    judged = np.array([c for c in counts if c is not None], dtype=float).reshape(-1, 2)
    return CoverageCell(
        model=model.name,
        shape=shape,
        inspections=size,
        runs=runs,
        b10=float(holds[0]),
        median=float(holds[1]),
        count=float(judged[:, 0].mean()) if len(judged) else 1.0,
        count_randomised=float(judged[:, 1].mean()) if len(judged) else 1.0,
        few=1 - len(said) / runs,
        below=float((low[:, 0] > true[0]).mean()),
        above=float((high[:, 0] < true[0]).mean()),
    )


def _count_run(
    rng: np.random.Generator,
    observations: LifeObservations,
    model: LifeModel,
    shape: float,
    inspected: tuple[float, float],
) -> tuple[bool, bool] | None:
    life, age = inspections(rng, model, shape, 20 * FLEET, inspected)
    running = np.flatnonzero(life > age)[:FLEET]
    life, age, chance = life[running], age[running], rng.random()
    happened = int((life <= age + MONTHS_DISTANCE).sum())
    due = count_due(observations, age, np.full(len(age), MONTHS_DISTANCE))
    if not isinstance(due, CountDue):
        return None
    below = due.cumulative[happened - 1] if happened else 0.0
    place = below + chance * (due.cumulative[happened] - below)
    return due.lower <= happened <= due.upper, bool(0.05 <= place <= 0.95)


def late_entry_coverage(
    model: LifeModel, shape: float, size: int, runs: int, seed: int = 3
) -> tuple[float, float, float]:
    """Return the coverage of B10 and of the median, and the share too few to say, on a register with late entry.

    Of lives of median 1, six in ten are followed only from an age uniform over 0 to .9; they run, fail at a known age,
    or fail between visits 0.2 apart.
    """
    rng = np.random.default_rng([seed, size])
    sets = []
    for _ in range(runs):
        life, end = inspections(rng, model, shape, 4 * size, (1.2, 0.5))
        entry = np.where(rng.random(4 * size) < 0.6, rng.uniform(0, 0.9, 4 * size), 0.0)
        seen = np.flatnonzero((life > entry) & (end > entry))[:size]
        life, end, entry, known = life[seen], end[seen], entry[seen], rng.random(len(seen)) < 0.5
        visit = np.floor(5 * life) / 5
        lower = np.where(life > end, end, np.where(known, life, np.maximum(visit, entry)))
        upper = np.where(life > end, np.inf, np.where(known, life, visit + 0.2))
        sets.append(LifeObservations(lower, upper, None, entry))
    said = [a for a in life_estimates(sets) if isinstance(a, LifeEstimate)]
    true = [float(quantile_of(model, shape, share)) for share in (0.1, 0.5)]
    holds = np.mean([[q.lower <= t <= q.upper for q, t in zip(a.quantiles, true, strict=True)] for a in said], axis=0)
    return float(holds[0]), float(holds[1]), 1 - len(said) / runs


def print_table(cells: Iterable[CoverageCell]) -> None:
    """Print the table, one line a cell."""
    print("model     shape    n   runs   B10    median  count  count(randomised)  too few   B10 under/over")
    for c in cells:
        print(
            f"{c.model:9s} {c.shape:4.2f} {c.inspections:5d} {c.runs:5d}  {c.b10:.3f}  {c.median:.3f}   {c.count:.3f}"
            f"  {c.count_randomised:.3f}              {c.few:.3f}     {c.below:.3f}/{c.above:.3f}"
        )
