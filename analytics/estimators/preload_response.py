"""Preload against pack: nothing until the end play is gone, then rising."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from analytics.estimators.arrays import FloatArray, as_numbers, same_length, tail
from analytics.estimators.interval import Interval, TooFew

GRID = 400
"""Steps of the threshold search between the smallest and the largest closing pack."""


@dataclass(frozen=True)
class PreloadResponse:
    """Hold the bent line: torque = base + slope x (closing pack beyond the threshold).

    `threshold` is in mm of closing pack (the pack itself where thicker tightens, its negative where thicker
    loosens), `slope` in torque per mm beyond it, `base` the drag before any preload (seals). `direction`
    is +1 where thicker tightens, -1 where thicker loosens. `loose` and `loaded` count readings on either
    side of the bend.
    """

    threshold: Interval
    slope: Interval
    base: float
    direction: int
    deviation: float
    loose: int
    loaded: int


def preload_response(
    packs: ArrayLike,
    torques: ArrayLike,
    direction: int,
    base: float | None = None,
    level: float = 0.95,
    minimum: int = 8,
) -> PreloadResponse | TooFew:
    """Fit running torque against pack with a bend where the end play is used up.

    `packs` in mm, relative to a common reference of the units (so that one threshold can hold), `torques`
    in one unit, `direction` +1 where a thicker pack tightens, else -1. `base` is the drag without preload,
    estimated when None. Least squares over a fine grid of bends, slope not below zero; intervals by profile
    likelihood (F limits; Seber & Wild 1989, 9.3). Gives TooFew below `minimum` readings or below three
    beyond the bend; a line through the origin is never assumed. Raises ValueError for a direction other
    than +1 or -1, non-finite values, or torque that never rises.
    """
    if direction not in (1, -1):
        raise ValueError(f"expected a direction of +1 (thicker tightens) or -1, found {direction}")
    x, y = direction * as_numbers("packs", packs), as_numbers("torques", torques)
    same_length(packs=x, torques=y)
    if x.size < minimum:
        return TooFew("torque readings", x.size, minimum)
    order = np.lexsort((y, x))
    x, y = x[order], y[order]
    bends = np.linspace(x[0], x[-1], GRID + 1)[:-1] if x[-1] > x[0] else x[:1]
    squares = np.array([_squares(x, y, bend, base)[0] for bend in bends])
    best = int(np.argmin(squares))
    total, drag, slope = _squares(x, y, float(bends[best]), base)
    if slope <= 0:
        raise ValueError("expected torque to rise with a tighter pack, found none that does")
    loaded = int((x > bends[best]).sum())
    if loaded < 3:
        return TooFew("readings beyond the end of the end play", loaded, 3)
    degrees = x.size - (2 if base is not None else 3)
    limit = total * (1 + float(special.fdtri(1, degrees, 1 - 2 * tail(level))) / degrees)
    within = bends[squares <= limit]
    count, method = x.size, "profile likelihood"
    threshold = Interval(float(bends[best]), float(within[0]), float(within[-1]), count, count, level, method)
    low, high = _slope_limits(x, y, bends, base, limit, slope)
    return PreloadResponse(
        threshold, Interval(slope, low, high, count, count, level, method), drag, direction,
        float(np.sqrt(total / degrees)), count - loaded, loaded,
    )  # fmt: skip


def preload_correction(response: PreloadResponse, torque: float, target: float, end_play: float | None = None) -> float:
    """Give the mm to add to the pack (negative: take off) that take the torque to its target.

    With `end_play` (mm, above zero) nothing is preloaded yet and the torque says nothing: the end play is
    closed first. Without it the torque must lie above the base drag, else how far the pack is from
    preload is unknown and ValueError asks for the end play. The target must lie above the base drag.
    """
    if target <= response.base:
        raise ValueError(f"expected a target above the drag without preload ({response.base:.3g}), found {target:.3g}")
    wanted = (target - response.base) / response.slope.estimate
    if end_play is not None and end_play > 0:
        return response.direction * (end_play + wanted)
    if torque <= response.base:
        raise ValueError(
            f"expected a torque above the drag without preload ({response.base:.3g}), found {torque:.3g}: "
            "measure the end play instead"
        )
    return response.direction * (target - torque) / response.slope.estimate


def _squares(x: FloatArray, y: FloatArray, bend: float, base: float | None) -> tuple[float, float, float]:
    """Give the residual sum of squares, base and slope of the best line bent at `bend`."""
    beyond = np.maximum(x - bend, 0)
    if base is None:
        centre, middle = beyond.mean(), y.mean()
        spread = float(((beyond - centre) ** 2).sum())
        slope = max(float(((beyond - centre) * (y - middle)).sum()) / spread, 0.0) if spread > 0 else 0.0
        drag = float(middle - slope * centre)
    else:
        spread = float((beyond**2).sum())
        slope = max(float((beyond * (y - base)).sum()) / spread, 0.0) if spread > 0 else 0.0
        drag = base
    return float(((y - drag - slope * beyond) ** 2).sum()), drag, slope


def _slope_limits(
    x: FloatArray, y: FloatArray, bends: FloatArray, base: float | None, limit: float, slope: float
) -> tuple[float, float]:
    """Give the slopes at which the best bent line with that slope just reaches the limit."""
    beyond = np.maximum(x[None, :] - bends[:, None], 0)
    if base is None:
        beyond = beyond - beyond.mean(axis=1, keepdims=True)
        rest = y - y.mean()
    else:
        rest = y - base
    # For each bend the sum of squares is a parabola in the slope: least + spread (slope - best)^2.
    spread = (beyond**2).sum(axis=1)
    cross = (beyond * rest).sum(axis=1)
    usable = spread > 1e-12 * spread.max()
    best = cross[usable] / spread[usable]
    least = (rest**2).sum() - cross[usable] ** 2 / spread[usable]
    room = limit - least
    reach = np.sqrt(room[room >= 0] / spread[usable][room >= 0])
    centres = best[room >= 0]
    return float(max(min((centres - reach).min(), slope), 0.0)), float(max((centres + reach).max(), slope))
