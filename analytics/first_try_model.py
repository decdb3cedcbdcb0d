"""Predict the pack that a unit will need, from past jobs treated alike and from the unit as it was found."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from scipy import special

from analytics.estimators.arrays import BoolArray, FloatArray, IntArray
from analytics.estimators.changed_make import changed_make_effects
from analytics.estimators.first_try_pack import (
    OWN_FAMILY,
    SMALLEST_SPREAD,
    PackCase,
    PackHistory,
    PackPrediction,
    first_try_pack,
)
from analytics.estimators.interval import TooFew

FEWEST_ALIKE = 8  # jobs treated alike, of any family, that it takes to go by them
NOT_KNOWN = "not known"
TextArray = np.ndarray[tuple[int, ...], np.dtype[np.str_]]
SURE = 0.005  # chance at which a make is believed to stand differently: several makes at many places are looked at
WORTH_LEARNING = 30  # jobs alike that it takes to learn what a reading as found is worth


@dataclass(frozen=True)
class PastJobs:
    """Hold past jobs of one quantity: arrays of one length in order of becoming known, dimensions in mm.

    `needs` is the pack for an aim of nothing, seen in the direction of the reading: -(sign x dimension), and `found`
    the same for the unit as found. `change` is the change of pack that the job needed, in that direction, and
    `by_reading` the change that the reading as found alone asked for. NaN where not on record.
    """

    job: TextArray
    family: TextArray
    known_on: np.ndarray[tuple[int, ...], np.dtype[np.datetime64]]
    needs: FloatArray
    found: FloatArray
    change: FloatArray
    by_reading: FloatArray
    make: TextArray
    found_make: TextArray
    bearing: TextArray
    gear_set: TextArray
    case_replaced: BoolArray

    def before(self, day: dt.date) -> PastJobs:
        """Return the jobs known before a day."""
        return self.take(slice(int(np.searchsorted(self.known_on, np.datetime64(day)))))

    def take(self, rows: IntArray | slice) -> PastJobs:
        """Return some of the jobs."""
        return PastJobs(
            self.job[rows], self.family[rows], self.known_on[rows], self.needs[rows], self.found[rows],
            self.change[rows], self.by_reading[rows], self.make[rows], self.found_make[rows], self.bearing[rows],
            self.gear_set[rows], self.case_replaced[rows],
        )  # fmt: skip


@dataclass(frozen=True)
class Case:
    """Hold the job to set, in mm of pack: `found` is the unit's dimension as found, seen as in `PastJobs`.

    `aim` is sign x target over the response; `low` and `high` the packs' room around it that the limits leave, None
    where there is no limit.
    """

    family: str
    place: str
    sign: int
    aim: float
    low: float | None
    high: float | None
    gear_set: str
    bearing: str
    make: str
    case_replaced: bool = False
    found: float | None = None
    found_pack: float | None = None
    found_make: str = NOT_KNOWN
    reading_error: float = 0.0  # standard deviation of one reading, in mm of pack: no interval is narrower
    moves_with_gear_set: bool = False  # a ring shift: another gear set has another backlash

    @property
    def by_reading(self) -> float | None:
        """Return the change of pack that the reading as found alone asks for, seen in the direction of the reading."""
        if self.found is None or self.found_pack is None:
            return None
        return self.sign * self.aim + self.found - self.sign * self.found_pack


@dataclass(frozen=True)
class FirstTry:
    """Hold a predicted pack (mm) with its interval, what it rests on, and which jobs were taken as alike."""

    estimate: float
    lower: float
    upper: float
    level: float
    deviation: float
    jobs: int
    family_jobs: int
    make_jobs: int
    make_shift: float
    alike: str
    uses_found: bool


def place_key(family: str, place: str) -> str:
    """Return the name under which jobs of one place of one family count together."""
    return f"{family}, {place}"


def past_jobs(rows: pl.DataFrame) -> PastJobs:
    """Return rows of `set_rows` (one quantity, one coordinate) as past jobs; rows without a dimension are left out."""
    used = rows.filter(pl.col("dimension").is_not_null() & pl.col("known_on").is_not_null()).sort("known_on", "job")
    sign = used["sign"].to_numpy().astype(float)

    def number(name: str) -> FloatArray:
        return used[name].cast(pl.Float64).fill_null(float("nan")).to_numpy() / 1000

    def text(values: Iterable[str]) -> TextArray:
        return np.array(list(values), dtype=np.str_)

    make, found_make, bearing, gear_set = (
        text(used[name].fill_null(NOT_KNOWN)) for name in ("make", "found_make", "bearing", "gear_set")
    )
    return PastJobs(
        text(used["job"]), text(map(place_key, used["family"], used["place"])), used["known_on"].to_numpy(),
        -sign * number("dimension"), -sign * number("found_dimension"),
        sign * (number("aim") - number("dimension") - number("found_pack")),
        sign * (number("aim") - number("found_dimension") - number("found_pack")),
        make, found_make, bearing, gear_set, used["case_replaced"].to_numpy(),
    )  # fmt: skip


def predict(past: PastJobs, case: Case, level: float = 0.90) -> FirstTry | TooFew:
    """Predict the pack for a case from past jobs of its quantity.

    With a pack found, what speaks is by how much jobs treated alike needed another pack than they came with, the
    found one restated for the make of bearing that goes in. Alike: bearing (new or used), casing (kept or replaced)
    and gear set (kept or changed); where the workshop has fewer than eight such jobs of any family, whatever the gear
    set; then, where the casing is kept, whatever the bearing; then whatever either. From 25 such jobs of the family on
    these alone are used, with the makes of new bearings as random effects; else all families, each with an effect of
    its own for new and used bearings. A pack found far outside the family's others is left aside, and without one the
    family's packs speak: at least five. Gives TooFew below that.
    """
    own = past.family == place_key(case.family, case.place)
    if case.found is not None and case.by_reading is not None and not _strange(case.found, past.found[own]):
        for rule, words in _alike(past, case):
            predicted = _from_found(past, case, rule, own, words, level)
            if predicted is not None:
                return predicted
    return _from_family(past, case, level)


def _from_found(
    past: PastJobs, case: Case, rule: BoolArray, own: BoolArray, words: str, level: float
) -> FirstTry | None:
    """Predict from what jobs alike changed, None where there are too few of them.

    How far the reading as found is to be trusted (a worn bearing reads off before it is replaced) is learned, where
    enough jobs tell; else it is taken at its word.
    """
    assert case.found_pack is not None
    assert case.by_reading is not None
    known = np.isfinite(past.by_reading)
    rows = np.flatnonzero(rule & known)
    enough = bool((rule & own & known).sum() >= OWN_FAMILY)
    if enough:
        rows = rows[own[rows]]
    alone = bool(own[rows].all())
    if rows.size < FEWEST_ALIKE:
        return None
    shifts = _make_shifts(past.take(np.flatnonzero(own)))
    moved = own[rows] * (_shifted(past.make[rows], shifts) - _shifted(past.found_make[rows], shifts))
    by_reading = past.by_reading[rows]
    changes = past.change[rows] - moved
    ordinary = np.flatnonzero(~strange_values(changes - by_reading))
    rows, changes, by_reading = rows[ordinary], changes[ordinary], by_reading[ordinary]
    labels = _labels(past.make[rows], past.bearing[rows])
    named, here = labels, _labels((case.make,), (case.bearing,))[0]
    if not alone:  # new and used bearings, where a rule mixes them, each at their own level
        named = tuple(map(place_key, past.family[rows].tolist(), past.bearing[rows].tolist()))
        here = place_key(place_key(case.family, case.place), case.bearing)
    free = _worth_learning(by_reading, case.by_reading)
    history = PackHistory(
        changes if free else changes - by_reading, ("alike",) * rows.size, named,
        by_reading if free else np.full(rows.size, np.nan), (True,) * rows.size,
    )  # fmt: skip
    predicted = first_try_pack(
        history, PackCase("alike", here, as_found=case.by_reading if free else None, kept=True), level
    )
    if isinstance(predicted, TooFew):
        return None
    shift = shifts.get(case.make, 0.0) - shifts.get(case.found_make, 0.0)
    origin = case.found_pack + case.sign * (shift + (0.0 if free else case.by_reading))
    told = _labels((case.make,), (case.bearing,))[0]
    return _in_pack(
        predicted, case, origin, level, family_jobs=int(own[rows].sum()),
        make_jobs=sum(bool(own[row]) and label == told for row, label in zip(rows, labels, strict=True)),
        make_shift=shift + (predicted.make_effect if alone else 0.0),
        alike=words if alone else f"{words}, all families", uses_found=True,
    )  # fmt: skip


def _worth_learning(by_reading: FloatArray, here: float) -> bool:
    """Return whether past readings as found spread enough, and around this one, to learn what they are worth."""
    if by_reading.size < WORTH_LEARNING:
        return False
    off = np.abs(by_reading - np.median(by_reading))
    spread = float(np.median(off)) / 0.6745
    return spread > 0 and abs(here - float(np.median(by_reading))) <= 3 * spread


def _from_family(past: PastJobs, case: Case, level: float) -> FirstTry | TooFew:
    """Predict from the packs of the family alone."""
    nothing = np.full(past.job.size, np.nan)
    labels = _labels(past.make, past.bearing)
    history = PackHistory(past.needs, tuple(past.family.tolist()), labels, nothing, (True,) * past.job.size)
    key = place_key(case.family, case.place)
    predicted = first_try_pack(history, PackCase(key, _labels((case.make,), (case.bearing,))[0]), level)
    if isinstance(predicted, TooFew):
        return replace(predicted, what=f"jobs of {case.family} with this location set")
    return _in_pack(
        predicted, case, case.aim, level, family_jobs=predicted.family_jobs, make_jobs=predicted.make_jobs,
        make_shift=predicted.make_effect, alike="all jobs of the family, without a pack found", uses_found=False,
    )  # fmt: skip


def _in_pack(
    predicted: PackPrediction, case: Case, origin: float, level: float, family_jobs: int, make_jobs: int,
    make_shift: float, alike: str, uses_found: bool,
) -> FirstTry:  # fmt: skip
    """Turn a prediction seen in the direction of the reading back into a pack for the aim."""
    low, centre, high = (
        origin + case.sign * end for end in (predicted.pack.lower, predicted.pack.estimate, predicted.pack.upper)
    )
    least = float(-special.ndtri((1 - level) / 2)) * case.reading_error
    return FirstTry(
        centre, min(low, high, centre - least), max(low, high, centre + least), level, predicted.deviation,
        predicted.jobs, family_jobs, make_jobs,
        case.sign * make_shift, alike, uses_found,
    )  # fmt: skip


def _labels(makes: Sequence[str] | TextArray, bearings: Sequence[str] | TextArray) -> tuple[str, ...]:
    """Name what the random effects are of: the make of a new bearing; a used one is the unit's own."""
    return tuple(
        str(make) if bearing == "new" else "used bearing" for make, bearing in zip(makes, bearings, strict=True)
    )


def _alike(past: PastJobs, case: Case) -> Iterator[tuple[BoolArray, str]]:
    """Give marks of the jobs treated as this one is, the narrowest rule first."""
    bearing, gear_set = past.bearing == case.bearing, past.gear_set == case.gear_set
    casing = past.case_replaced == case.case_replaced
    words = f"bearing {case.bearing}, casing {'replaced' if case.case_replaced else 'kept'}"
    yield bearing & casing & gear_set, f"{words}, gear set {case.gear_set}"
    if not case.moves_with_gear_set:
        yield bearing & casing, f"{words}, whatever the gear set"
    if not case.case_replaced:
        yield casing & gear_set, f"casing kept, gear set {case.gear_set}, whatever the bearing"
        yield casing, "casing kept, whatever the bearing and the gear set"


STRANGE = 6.0  # robust standard deviations


def strange_values(values: FloatArray) -> BoolArray:
    """Mark values further than six robust standard deviations from the median, where there are twenty or more."""
    off = np.abs(values - np.median(values)) if values.size else values
    spread = float(np.median(off)) / 0.6745 if values.size >= SMALLEST_SPREAD else 0.0
    return off > STRANGE * spread if spread > 0 else np.zeros(values.size, dtype=bool)


def _strange(value: float, others: FloatArray) -> bool:
    """Return whether a pack found lies far outside those of the family: earlier work by others."""
    known = others[np.isfinite(others)]
    return bool(strange_values(np.append(known, value))[-1])


def _shifted(makes: TextArray, shifts: Mapping[str, float]) -> FloatArray:
    """Return what each make adds, nothing for one that does not stand out."""
    return np.array([shifts.get(make, 0.0) for make in makes.tolist()], dtype=np.float64)


def _make_shifts(past: PastJobs) -> dict[str, float]:
    """Return what each make surely adds to the pack needed, drawn towards nothing by how unsure it is."""
    known = np.isfinite(past.found) & (past.make != NOT_KNOWN) & (past.found_make != NOT_KNOWN)
    if not known.any():
        return {}
    told = past.take(np.flatnonzero(known))
    kinds = [", ".join(map(str, kind)) for kind in zip(told.bearing, told.gear_set, told.case_replaced, strict=True)]
    effects = changed_make_effects(told.needs - told.found, told.found_make.tolist(), told.make.tolist(), kinds)
    if isinstance(effects, TooFew):
        return {}
    return {
        e.make: e.effect.estimate * max(0.0, 1 - (e.deviation / e.effect.estimate) ** 2)
        for e in effects
        if e.probability < SURE
    }
