"""Observed against expected of many groups at once, with limits that allow for more spread than chance gives."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from analytics.estimators.arrays import FloatArray, as_counts, as_positive, tail
from analytics.estimators.interval import TooFew

GROUPS_NEEDED = 5


@dataclass(frozen=True)
class Funnel:
    """Hold how far each group lies from its expectation, (groups), and how widely groups spread beyond chance.

    ratio: observed / expected; z: distance in Poisson standard deviations; dispersion: of the z scores, 1 chance
    alone; between: variance between groups of the root of the ratio. z_multiplied, z_added: z allowing for the spread
    by either route; p_multiplied, p_added: their two-sided p values.
    """

    ratio: FloatArray
    z: FloatArray
    dispersion: float
    between: float
    z_multiplied: FloatArray
    z_added: FloatArray
    p_multiplied: FloatArray
    p_added: FloatArray


@dataclass(frozen=True)
class FunnelLimits:
    """Hold limits of observed / expected at each expectation: by chance alone, and allowing for spread either way."""

    expected: FloatArray
    chance_lower: FloatArray
    chance_upper: FloatArray
    multiplied_lower: FloatArray
    multiplied_upper: FloatArray
    added_lower: FloatArray
    added_upper: FloatArray
    level: float


def funnel(observed: npt.ArrayLike, expected: npt.ArrayLike, winsorised: float = 0.1) -> Funnel | TooFew:
    """Measure how far each group lies from what was expected of it, from at least 5 groups.

    observed: (groups) events; expected: (groups) more than zero; winsorised: share of groups at either end whose
    distance is drawn in before the spread is judged, so that outliers do not excuse themselves. Raises ValueError.

    Method: Spiegelhalter, Stat. Med. 24 (2005) 1185: z = 2 (root observed - root expected); multiplicative
    dispersion, the mean of the squared winsorised z, at least 1; or a variance between groups added to each
    (DerSimonian & Laird's moment estimate on the winsorised z, at least 0). Unlike there, the winsorised mean square
    is divided by what it would be for normal z, so that drawing in the ends does not itself narrow the limits.
    """
    o, e = as_counts("observed", observed), as_positive("expected", expected)
    if o.shape != e.shape or not 0 <= winsorised < 0.5:
        raise ValueError("observed must have the shape of expected, and winsorised lie between 0 and 0.5")
    if len(o) < GROUPS_NEEDED:
        return TooFew("groups", len(o), GROUPS_NEEDED)
    z = 2 * (np.sqrt(o) - np.sqrt(e))
    drawn_in = np.clip(z, *np.quantile(z, [winsorised, 1 - winsorised]))
    chance = float(np.mean(np.sort(drawn_in**2))) / _kept_by_drawing_in(winsorised)
    dispersion = max(chance, 1.0)
    weight = np.sort(4 * e)
    room = float(weight.sum() - np.sum(weight**2) / weight.sum())
    between = max((len(o) * chance - (len(o) - 1)) / room, 0.0)
    multiplied, added = z / np.sqrt(dispersion), z / np.sqrt(1 + 4 * e * between)
    p_values = [2 * special.ndtr(-np.abs(score)) for score in (multiplied, added)]
    return Funnel(o / e, z, dispersion, between, multiplied, added, *p_values)


def funnel_limits(expected: npt.ArrayLike, spread: Funnel, level: float = 0.95) -> FunnelLimits:
    """Give the limits to draw about a ratio of 1 at each expectation.

    expected: (points) more than zero. Raises ValueError otherwise.
    Method: by chance alone the exact Poisson limits of a count equal to the expectation; with spread, on the root
    scale as `funnel`.
    """
    e, alpha = as_positive("expected", expected), tail(level)
    chance = special.gammaincinv(e, alpha) / e, special.gammaincinv(e + 1, 1 - alpha) / e
    z = float(special.ndtri(1 - alpha))
    multiplied = z * np.sqrt(spread.dispersion / (4 * e))
    added = z * np.sqrt(1 / (4 * e) + spread.between)
    lower, upper = ([np.maximum(1 + sign * half, 0) ** 2 for half in (multiplied, added)] for sign in (-1, 1))
    return FunnelLimits(e, chance[0], chance[1], lower[0], upper[0], lower[1], upper[1], level)


def _kept_by_drawing_in(winsorised: float) -> float:
    if winsorised == 0:
        return 1.0
    c = float(special.ndtri(1 - winsorised))
    height = float(np.exp(-c * c / 2) / np.sqrt(2 * np.pi))
    return 1 - 2 * winsorised - 2 * c * height + 2 * winsorised * c * c
