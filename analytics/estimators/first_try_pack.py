"""The pack to try first: a predictive distribution from past jobs and from the unit as it was found."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import linalg, optimize, special

from analytics.estimators.arrays import BoolArray, FloatArray, IntArray, as_numbers, same_length, tail
from analytics.estimators.interval import Interval, TooFew

RATIOS = (0.0, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0)
"""Variance of an effect over the variance left between jobs, averaged over by how well each explains the past."""
STRANGE = 4.0
"""A pack found this many robust standard deviations off is taken for earlier work by others, not for evidence."""
SMALLEST_FOUND = 8
"""Packs found of the family that it takes to learn what a pack found is worth."""
SMALLEST_SPREAD = 20
"""Packs found that it takes to call another one strange."""
OWN_FAMILY = 25
"""From this many comparable jobs on, a family's spread is learned from itself alone."""


@dataclass(frozen=True)
class PackHistory:
    """Hold past jobs of one location: one row a job, arrays of one length.

    `needed` is the pack (mm) that would have put the reading on target, the marking's share taken out:
    see `needed_pack` and `marking_share`. `families` and `makes` (bearing make) are names. `as_found` is
    the same for the pack and reading found at strip-down, NaN where not recorded. `kept` is True where gear
    set (and with it the meaning of the pack found) stayed.
    """

    needed: FloatArray
    families: tuple[str, ...]
    makes: tuple[str, ...]
    as_found: FloatArray
    kept: tuple[bool, ...]


@dataclass(frozen=True)
class PackCase:
    """Hold the job to set: names as in the history; `marking` is the marking's share of the pack (mm)."""

    family: str
    make: str
    marking: float = 0.0
    as_found: float | None = None
    kept: bool = False


@dataclass(frozen=True)
class PackPrediction:
    """Hold the pack (mm) to try with its prediction interval and what it rests on.

    `deviation` is the scale of the predictive t. `jobs` counts past jobs used, `family_jobs` those of the
    family, `make_jobs` those of the family with this bearing make. `found_weight` is how much of the pack
    found goes into the answer (None without one), `make_effect` what the bearing make moves it by.
    """

    pack: Interval
    deviation: float
    degrees_of_freedom: float
    jobs: int
    family_jobs: int
    make_jobs: int
    found_weight: float | None
    make_effect: float


@dataclass(frozen=True)
class MakeEffect:
    """Hold what a bearing make adds to the pack (mm) against the mean of the other makes used."""

    make: str
    jobs: int
    effect: Interval


@dataclass(frozen=True)
class _Fit:
    """Hold one posterior for each pair of variance ratios: weights, coefficients, their root, scales."""

    columns: dict[tuple[str, str], int]
    found: int | None
    origins: dict[str, float]
    weights: FloatArray
    coefficients: FloatArray
    inverses: FloatArray
    scales: FloatArray
    ratios: tuple[tuple[float, float], ...]
    degrees: float
    rows: int


def needed_pack(pack: ArrayLike, reading: ArrayLike, target: ArrayLike, response: ArrayLike) -> FloatArray:
    """Give the pack (mm) that would have put the reading on its target: pack + (target - reading) / response.

    `response` is the change of the reading per mm of pack with its sign (negative where thicker moves the
    reading down), learned or by geometry. This is the counterfactual behind first-try figures: a model,
    not a record. Raises ValueError for a response of zero.
    """
    slope = as_numbers("response", response)
    if (slope == 0).any():
        raise ValueError("expected a response other than zero, found zero")
    fitted, read, wanted = as_numbers("pack", pack), as_numbers("reading", reading), as_numbers("target", target)
    return np.asarray(fitted + (wanted - read) / slope, dtype=np.float64)


def marking_share(marked: ArrayLike, sign: int, response: ArrayLike) -> FloatArray:
    """Give the part of the pack (mm) that a gear set's marked deviation asks for: sign x marked / response.

    `marked` in the unit of the reading, `sign` +1 where a positive marking raises the target. Taken out of
    the history before learning and put back for the new gear set. Raises ValueError for another sign or a
    response of zero.
    """
    if sign not in (1, -1):
        raise ValueError(f"expected a sign of +1 or -1, found {sign}")
    return needed_pack(np.zeros_like(as_numbers("marked", marked)), 0.0, sign * as_numbers("marked", marked), response)


def first_try_pack(
    history: PackHistory, case: PackCase, level: float = 0.90, minimum: int = 5
) -> PackPrediction | TooFew:
    """Predict the pack that lands the reading on target, with a prediction interval.

    Hierarchical normal model of one location: each family its own level, bearing makes as random effects
    (common, and of their own within a family), spread between jobs. Where the unit's pack and reading as
    found are given, they enter as a regression whose weight is learned from past jobs alike (gear set kept
    or changed), so that prior history and the unit itself are combined as they proved right; a pack found far
    outside the others is left aside. Flat prior on
    levels, Jeffreys prior on the spread, variance ratios averaged over by marginal likelihood: the
    predictive is a mixture of t distributions, with all of that uncertainty in the interval. With 25 or
    more comparable jobs of the family only those are used, else all families of the location lend spread.
    The case's marking is added. Gives TooFew below `minimum` comparable jobs of the family.
    Raises ValueError for unequal lengths or non-finite packs.
    Source: Gelman et al., Bayesian Data Analysis, 3rd ed., ch. 14-15; coverage by simulation.
    """
    side = tail(level)
    _check(history)
    keep, with_found = _comparable(history, case, minimum)
    family_jobs = sum(history.families[row] == case.family for row in keep)
    if family_jobs < minimum:
        return TooFew(f"jobs of family {case.family} with this shim location", family_jobs, minimum)
    fit = _fit(history, keep, with_found)
    vector = _vector(fit, case.family, case.make, case.as_found if with_found else None)
    centres = fit.coefficients @ vector + fit.origins[case.family]
    variances = np.einsum("i,rij,j->r", vector, fit.inverses, vector) + 1 + _unseen(fit, case)
    scales = fit.scales * np.sqrt(variances)
    low, middle, high = (_quantile(share, fit, centres, scales) for share in (side, 0.5, 1 - side))
    pair = ("make", case.make), (case.family, case.make)
    effect = sum(float(fit.weights @ fit.coefficients[:, fit.columns[key]]) for key in pair if key in fit.columns)
    return PackPrediction(
        pack=Interval(
            middle + case.marking, low + case.marking, high + case.marking, fit.rows, family_jobs, level,
            "hierarchical normal model, mixture of t" + (", pack found used" if with_found else ""),
        ),
        deviation=float(np.sqrt(fit.weights @ scales**2)),
        degrees_of_freedom=fit.degrees,
        jobs=fit.rows,
        family_jobs=family_jobs,
        make_jobs=sum(
            (history.families[row], history.makes[row]) == (case.family, case.make) for row in keep
        ),
        found_weight=float(fit.weights @ fit.coefficients[:, fit.found]) if fit.found is not None else None,
        make_effect=effect,
    )  # fmt: skip


def make_effects(
    history: PackHistory, family: str, level: float = 0.90, minimum: int = 5
) -> tuple[MakeEffect, ...] | TooFew:
    """Estimate what each bearing make adds to the pack (mm) of a family, against the mean of the others.

    Model as in `first_try_pack` without the pack found; shrunk, so that a make with few jobs is not
    flattered. Only makes used in the family; the others count by their jobs. Gives TooFew below `minimum`
    jobs of the family or below two makes.
    """
    side = tail(level)
    _check(history)
    rows = [row for row, name in enumerate(history.families) if name == family]
    makes = sorted({history.makes[row] for row in rows})
    if len(rows) < minimum:
        return TooFew(f"jobs of family {family} with this shim location", len(rows), minimum)
    if len(makes) < 2:
        return TooFew(f"bearing makes in family {family}", len(makes), 2)
    fit = _fit(history, np.arange(history.needed.size), False)
    counts = {make: sum(history.makes[row] == make for row in rows) for make in makes}
    effects = []
    for make in makes:
        vector = _vector(fit, family, make, None)
        others = len(rows) - counts[make]
        for other in makes:
            if other != make:
                vector = vector - counts[other] / others * _vector(fit, family, other, None)
        centres = fit.coefficients @ vector
        scales = fit.scales * np.sqrt(np.einsum("i,rij,j->r", vector, fit.inverses, vector))
        low, middle, high = (
            _quantile(share, fit, centres, np.maximum(scales, 1e-12)) for share in (side, 0.5, 1 - side)
        )
        interval = Interval(
            middle, low, high, len(rows), counts[make], level, "hierarchical normal model, mixture of t"
        )
        effects.append(MakeEffect(make, counts[make], interval))
    return tuple(effects)


def _check(history: PackHistory) -> None:
    needed = as_numbers("needed", history.needed)
    same_length(needed=needed, as_found=np.asarray(history.as_found, dtype=np.float64))
    if not needed.size == len(history.families) == len(history.makes) == len(history.kept):
        raise ValueError(
            f"expected a family, a make and a kept mark a job, found unlike numbers for {needed.size} jobs"
        )


def _comparable(history: PackHistory, case: PackCase, minimum: int) -> tuple[IntArray, bool]:
    """Give the rows to learn from, and whether the pack found can be used.

    Jobs whose gear set was treated alike (kept or changed) and whose pack found is on record and not
    strange, if the family has enough of them and the case's own is not strange either; else all jobs,
    without the pack found.
    """
    families = np.array(history.families)
    own = families == case.family
    everything = np.flatnonzero(own) if own.sum() >= OWN_FAMILY else np.arange(own.size)
    if case.as_found is None or not np.isfinite(case.as_found):
        return everything, False
    usable = (np.array(history.kept, dtype=bool) == case.kept) & np.isfinite(history.as_found)
    found = history.as_found[usable & own]
    if found.size < max(minimum, SMALLEST_FOUND):
        return everything, False
    if abs(case.as_found - float(np.median(found))) > STRANGE * _robust_spread(found):
        return everything, False
    change = history.needed - history.as_found
    for name in sorted(set(families[usable])):
        rows = np.flatnonzero(usable & (families == name))
        off = np.abs(change[rows] - np.median(change[rows]))
        usable[rows[off > STRANGE * _robust_spread(change[rows])]] = False
    chosen = usable & own if (usable & own).sum() >= OWN_FAMILY else usable
    return np.flatnonzero(chosen), True


def _robust_spread(values: FloatArray) -> float:
    """Give the standard deviation by the median distance from the median; with few values no one is strange."""
    if values.size < SMALLEST_SPREAD:
        return float("inf")
    return float(np.median(np.abs(values - np.median(values)))) / 0.6745


def _fit(history: PackHistory, keep: IntArray, with_found: bool) -> _Fit:
    """Fit the model on the rows kept, sorted so that their order does not matter."""
    rows = sorted(
        (history.families[row], history.makes[row], float(history.needed[row]), float(history.as_found[row]))
        if with_found
        else (history.families[row], history.makes[row], float(history.needed[row]), 0.0)
        for row in keep
    )
    families = sorted({row[0] for row in rows})
    origins = {name: float(np.mean([row[2] for row in rows if row[0] == name])) for name in families}
    keys = [("family", name) for name in families]
    keys += [("make", name) for name in sorted({row[1] for row in rows})]
    keys += sorted({(row[0], row[1]) for row in rows}) if len(families) > 1 else []
    columns = {key: place for place, key in enumerate(keys)}
    found = len(keys) if with_found else None
    design = np.zeros((len(rows), len(keys) + with_found))
    for place, (family, make, _, as_found) in enumerate(rows):
        design[place, [columns[key] for key in _keys(family, make) if key in columns]] = 1
        if with_found:
            design[place, -1] = as_found - origins[family]
    target = np.array([row[2] - origins[row[0]] for row in rows])
    fixed = np.array([key[0] == "family" for key in keys] + [True] * with_found)
    common = np.array([key[0] == "make" for key in keys] + [False] * with_found)
    return _posterior(design, target, fixed, common, columns, found, origins)


def _keys(family: str, make: str) -> tuple[tuple[str, str], ...]:
    return ("family", family), ("make", make), (family, make)


def _posterior(
    design: FloatArray,
    target: FloatArray,
    fixed: BoolArray,
    common: BoolArray,
    columns: dict[tuple[str, str], int],
    found: int | None,
    origins: dict[str, float],
) -> _Fit:
    """Solve the normal equations for every pair of variance ratios and weigh the pairs."""
    gram, cross, square = design.T @ design, design.T @ target, float(target @ target)
    degrees = float(target.size - fixed.sum())
    own = ~fixed & ~common
    pairs = tuple((a, b) for a in RATIOS for b in (RATIOS if own.any() else (0.0,)))
    logs, coefficients, inverses, scales = [], [], [], []
    for pair in pairs:
        # A ratio of zero switches the effect off: a penalty so large that it stays at zero.
        penalty = np.where(fixed, 0.0, np.where(common, 1 / max(pair[0], 1e-8), 1 / max(pair[1], 1e-8)))
        ridge = np.where(fixed, 1e-10, 0.0)
        root = linalg.cholesky(gram + np.diag(penalty + ridge), lower=True)
        inverse = linalg.cho_solve((root, True), np.eye(gram.shape[0]))
        beta = inverse @ cross
        rest = max(square - float(beta @ cross), 1e-12)
        logs.append(
            0.5 * float(np.log(penalty[penalty > 0]).sum())
            - float(np.log(np.diag(root)).sum())
            - degrees / 2 * np.log(rest)
        )
        coefficients.append(beta)
        inverses.append(inverse)
        scales.append(np.sqrt(rest / degrees))
    weights = np.exp(np.array(logs) - max(logs))
    return _Fit(
        columns, found, origins, weights / weights.sum(), np.array(coefficients), np.array(inverses),
        np.array(scales), pairs, degrees, target.size,
    )  # fmt: skip


def _vector(fit: _Fit, family: str, make: str, as_found: float | None) -> FloatArray:
    vector = np.zeros(fit.coefficients.shape[1])
    for key in _keys(family, make):
        if key in fit.columns:
            vector[fit.columns[key]] = 1
    if as_found is not None and fit.found is not None:
        vector[fit.found] = as_found - fit.origins[family]
    return vector


def _unseen(fit: _Fit, case: PackCase) -> FloatArray:
    """Give the variance (over that between jobs) of effects of a make not seen before."""
    several = any(key[0] not in ("family", "make") for key in fit.columns)
    common = ("make", case.make) not in fit.columns
    own = several and (case.family, case.make) not in fit.columns
    return np.array([common * a + own * b for a, b in fit.ratios])


def _quantile(share: float, fit: _Fit, centres: FloatArray, scales: FloatArray) -> float:
    """Find a quantile of the mixture of t distributions."""
    spread = float(special.stdtrit(fit.degrees, 1 - min(share, 1 - share) / 100))
    low, high = float((centres - spread * scales).min()), float((centres + spread * scales).max())
    return float(
        optimize.brentq(
            lambda pack: float(fit.weights @ special.stdtr(fit.degrees, (pack - centres) / scales)) - share,
            low - 1e-9,
            high + 1e-9,
            xtol=1e-10,
        )
    )
