"""What a bearing make changes, from jobs that took one make out and put another in."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from analytics.estimators.arrays import FloatArray, IntArray, as_numbers, tail
from analytics.estimators.interval import Interval, TooFew

STRANGE = 4.0
"""Changes further than this many robust standard deviations from the median of their kind are left out."""


@dataclass(frozen=True)
class ChangedMake:
    """Hold what a make brings against the mean of the other makes, in the unit of the changes.

    `jobs` counts jobs in which this make came in or went out for another one; `probability` is two-sided.
    """

    make: str
    jobs: int
    effect: Interval
    deviation: float
    probability: float


def changed_make_effects(
    changes: ArrayLike,
    found: Sequence[str],
    built: Sequence[str],
    kinds: Sequence[str],
    level: float = 0.95,
    minimum: int = 8,
) -> tuple[ChangedMake, ...] | TooFew:
    """Estimate what each make brings, from changes between the unit as found and as built.

    One job a row: `changes` (any unit), the make `found` and the make `built` in, and the `kinds` of job that
    differ in level (bearing new or used, gear set kept or changed). Least squares of change = level of the kind +
    effect of the make built in - effect of the make found: the unit's own dimension cancels, which makes this far
    sharper than comparing units. Strange jobs (see STRANGE) are left out. An effect is given against the mean of the
    other makes, weighted by their jobs; t interval. Gives TooFew below `minimum` jobs with another make or below two
    makes. Raises ValueError for unequal lengths or non-finite changes.
    """
    side = tail(level)
    values = as_numbers("changes", changes)
    if not values.size == len(found) == len(built) == len(kinds):
        raise ValueError(f"expected makes and kinds for {values.size} changes, found unlike numbers")
    if sum(one != other for one, other in zip(found, built, strict=True)) < minimum:
        count = sum(one != other for one, other in zip(found, built, strict=True))
        return TooFew("jobs with another bearing make", count, minimum)
    order = sorted(range(values.size), key=lambda row: (kinds[row], found[row], built[row], float(values[row])))
    strange = _strange(values, kinds)
    rows = [row for row in order if not strange[row]]
    moved = [row for row in rows if found[row] != built[row]]
    if len(moved) < minimum:
        return TooFew("jobs with another bearing make", len(moved), minimum)
    makes = sorted({name for row in moved for name in (found[row], built[row])})
    levels = sorted({kinds[row] for row in rows})
    design = np.zeros((len(rows), len(levels) + len(makes) - 1))
    for place, row in enumerate(rows):
        design[place, levels.index(kinds[row])] = 1
        for make, sign in ((built[row], 1.0), (found[row], -1.0)):
            if make in makes[1:]:
                design[place, len(levels) + makes.index(make) - 1] += sign
    target = values[rows]
    inverse = np.linalg.pinv(design.T @ design)
    beta = inverse @ (design.T @ target)
    degrees = len(rows) - int(np.linalg.matrix_rank(design))
    if degrees < 3:
        return TooFew("jobs beyond those that the levels use up", degrees, 3)
    variance = float(np.sort((target - design @ beta) ** 2).sum()) / degrees
    counts = {make: sum(make in (found[row], built[row]) for row in moved) for make in makes}
    reach = float(-special.stdtrit(degrees, side))
    effects = []
    for make in makes:
        contrast = _contrast(make, makes, counts, len(levels))
        centre = float(contrast @ beta)
        error = float(np.sqrt(variance * (contrast @ inverse @ contrast)))
        interval = Interval(
            centre, centre - reach * error, centre + reach * error, len(rows), counts[make], level,
            "least squares on changes of make",
        )  # fmt: skip
        chance = float(2 * special.stdtr(degrees, -abs(centre) / error)) if error > 0 else 1.0
        effects.append(ChangedMake(make, counts[make], interval, error, chance))
    return tuple(effects)


def _contrast(make: str, makes: list[str], counts: dict[str, int], levels: int) -> FloatArray:
    """Give the weights that set one make against the mean of the others."""
    others = sum(count for name, count in counts.items() if name != make)
    contrast = np.zeros(levels + len(makes) - 1)
    for place, name in enumerate(makes[1:]):
        contrast[levels + place] = 1.0 if name == make else -counts[name] / others
    return contrast


def _strange(values: FloatArray, kinds: Sequence[str]) -> IntArray:
    """Mark changes far from the median of their kind."""
    strange = np.zeros(values.size, dtype=np.int64)
    labels = np.asarray(kinds)
    for kind in sorted(set(kinds)):
        rows = np.flatnonzero(labels == kind)
        off = np.abs(values[rows] - np.median(values[rows]))
        spread = float(np.median(off)) / 0.6745
        if rows.size >= 20 and spread > 0:
            strange[rows[off > STRANGE * spread]] = 1
    return strange
