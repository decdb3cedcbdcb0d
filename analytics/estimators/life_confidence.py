"""Mix the models' confidence distributions of one quantity and read limits off the mixture."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr, ndtri

SignedRoot = Callable[[float], float]
"""Signed root of the likelihood ratio at a value: positive below the estimate, negative above."""


NO_WEIGHT = 1e-12
"""A model of less weight than this moves no limit in the ninth digit, and its profile is not followed."""


def mixed_confidence(roots: Sequence[SignedRoot], weights: Sequence[float], value: float) -> float:
    """Return the mixed confidence that the quantity lies below `value`, 0 to 1."""
    return float(sum(w * ndtr(-root(value)) for w, root in zip(weights, roots, strict=True) if w > NO_WEIGHT))


def mixed_limit(
    roots: Sequence[SignedRoot],
    weights: Sequence[float],
    start: float,
    spread: float,
    tail: float,
    widest: float = 7.0,
) -> float:
    """Return the value below which the mixed confidence is `tail`, or -inf / inf beyond `widest` from the start.

    Method: bracket outwards from the start in steps of the spread, then Brent's method on the normal score. Source:
    Fletcher & Turek 2012, as in life_limits.
    """
    target = float(ndtri(tail))

    def gap(value: float) -> float:
        return float(ndtri(np.clip(mixed_confidence(roots, weights, value), 1e-15, 1 - 1e-15))) - target

    way = float(np.sign(target))
    inner, step = start - way * 0.5 * spread, min(max(1.8 * spread, 1e-6), widest)
    while gap(inner) * way > 0:
        inner -= way * spread
    outer = inner + way * step
    while gap(outer) * way < 0:
        if abs(outer - start) >= widest:
            return way * np.inf
        inner, step = outer, 1.6 * step
        outer = start + way * min(abs(outer + way * step - start), widest)
    return float(brentq(gap, min(inner, outer), max(inner, outer), xtol=1e-7, rtol=1e-10))
